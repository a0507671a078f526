"""A site's readings into a file that appears whole or not at all."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from joulebook.core.spans import Span, local_day
from joulebook.errors import UsageError
from joulebook.export.csv_files import write_csv
from joulebook.export.parquet_files import write_parquet
from joulebook.export.tables import TablePart, table_parts
from joulebook.storage.connections import joined_snapshot
from joulebook.storage.database import Connection, Database
from joulebook.storage.new_files import new_file
from joulebook.storage.reading import readings_span
from joulebook.storage.records import DamagedBlock, Site
from joulebook.storage.series import series_of


@dataclass(frozen=True, slots=True)
class Exported:
    """What a file got, and which blocks could not be read."""

    rows: int
    readings: int
    series: int
    damaged: tuple[DamagedBlock, ...] = ()


def export_readings(
    database: Database,
    site: Site,
    file: Path,
    *,
    first: date | None = None,
    last: date | None = None,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> Exported:
    """Write a site's readings, as of one commit, to CSV, or Parquet where the name ends so.

    A damaged block costs what it held, and is told.

    Parameters
    ----------
    first, last : date, optional
        Local days of the site, both included.
    progress : callable
        Told how much of how much time is done. [s]

    Raises
    ------
    UsageError
        If the site has no readings, or the days are in the wrong order.
    DataRefusedError
        If there is a file of that name.
    UnavailableError
        If the disk is full, the file cannot be written, or Parquet needs what is not installed.
    """
    write = write_parquet if file.suffix.lower() == ".parquet" else write_csv
    with closing(database.connect()) as connection, joined_snapshot(connection):
        series = series_of(connection, site.id)
        span = _span(connection, site, first, last)
        if span is None or not series:
            raise UsageError(
                "there is nothing to export",
                where=f"site {site.name}",
                expected="a site with readings",
                next_step="check --site and --data",
            )
        tally = _Tally(span, progress)
        parts = table_parts(connection, series, span, lacking=tally.lacks)
        with new_file(file) as unfinished:
            write(unfinished, series, tally.of(parts))
    return Exported(tally.rows, tally.readings, len(series), tuple(tally.damaged.values()))


class _Tally:
    """Counts what passes, notes what cannot, and says how far it is."""

    def __init__(self, span: Span, progress: Callable[[int, int], None]) -> None:
        self.rows = 0
        self.readings = 0
        self.damaged: dict[int, DamagedBlock] = {}
        self._span = span
        self._progress = progress

    def lacks(self, block: DamagedBlock) -> None:
        self.damaged[block.block_id] = block

    def of(self, parts: Iterable[TablePart]) -> Iterator[TablePart]:
        for part in parts:
            yield part
            self.rows += len(part.at_ms)
            self.readings += part.readings
            done_ms = int(part.at_ms[-1]) - self._span.start_ms
            self._progress(done_ms // 1000, int(self._span.length_s))


def _span(connection: Connection, site: Site, first: date | None, last: date | None) -> Span | None:
    """Return the part of the asked days in which there are readings, perhaps an empty one."""
    there = readings_span(connection, site.id)
    if there is None:
        return None
    if first is not None and last is not None and last < first:
        raise UsageError(
            f"{first} is after {last}",
            where="--from, --to",
            expected="the first day, then the last",
            next_step="turn them around",
        )
    start_ms, end_ms = there.start_ms, there.end_ms
    if first is not None:
        start_ms = max(start_ms, local_day(first, site.zone).start_ms)
    if last is not None:
        end_ms = min(end_ms, local_day(last, site.zone).end_ms)
    return Span(start_ms, max(start_ms, end_ms))
