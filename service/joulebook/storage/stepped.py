"""Years of one series, a block at a time, as they are kept: for sums over every reading."""

import sqlite3
from collections.abc import Iterator

from joulebook.core.spans import Span
from joulebook.core.stepped import Stepped
from joulebook.storage.blocks.block import decode_stepped
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.blockstore import heads_within
from joulebook.storage.connections import Connection, joined_snapshot
from joulebook.storage.faults import naming_faults
from joulebook.storage.periods import day_of, day_period, week_period, weeks
from joulebook.storage.reading import columns_of, read_series
from joulebook.storage.records import Series


def stream_stepped(
    connection: Connection, site_id: int, device: str, quantity: str, span: Span
) -> Iterator[Stepped]:
    """Yield the readings of a series in order, those that are missing left out.

    All are of one state of the database, whatever is written meanwhile. Damaged blocks are named
    in the log, and their readings count as missing.
    """
    with naming_faults(connection), joined_snapshot(connection):
        for series in columns_of(connection, site_id, device, (quantity,)):
            hot_ms = _hot_from(connection, series.device_id, span)
            sealed = Span(span.start_ms, hot_ms)
            for block_id, period in heads_within(connection, series.device_id, sealed):
                start_ms = max(period.start_ms, sealed.start_ms)
                part = Span(start_ms, min(period.end_ms, sealed.end_ms))
                found = _of_block(connection, series, block_id) if part == period else None
                if found is not None:
                    yield found
                else:
                    yield from _laid_over(connection, series, part)
            for week in weeks(Span(hot_ms, span.end_ms)):
                yield from _laid_over(connection, series, week)


def _hot_from(connection: Connection, device_id: int, span: Span) -> int:
    """Return from when on rows may lie beside or over blocks: the beginning of a week."""
    (day,) = connection.execute(
        "SELECT min(day) FROM hot_days WHERE device_id = ? AND day >= ? AND day <= ?",
        (device_id, day_of(span.start_ms), day_of(span.end_ms - 1)),
    ).fetchone()
    if day is None:
        return span.end_ms
    return max(span.start_ms, week_period(day_period(day).start_ms).start_ms)


def _of_block(connection: Connection, series: Series, block_id: int) -> Stepped | None:
    """Return what a block holds of a series, if it is whole and holds it so.

    Only the bytes of the series are read: of a block of ten series that saves most of the time.
    """
    try:
        if isinstance(connection, sqlite3.Connection):
            with connection.blobopen("blocks", "data", block_id, readonly=True) as blob:
                return decode_stepped(_Bytes(blob), series.id)
        row = connection.execute("SELECT data FROM blocks WHERE id = ?", (block_id,)).fetchone()
        return decode_stepped(row[0], series.id)
    except BlockDamagedError:
        return None  # the long way names it


class _Bytes:
    """The bytes of a blob, of which only those that are asked for are read."""

    def __init__(self, blob: sqlite3.Blob) -> None:
        self._blob = blob

    def __len__(self) -> int:
        return len(self._blob)

    def __getitem__(self, part: slice, /) -> bytes:
        start, stop, _ = part.indices(len(self._blob))
        self._blob.seek(start)
        return self._blob.read(stop - start)


def _laid_over(connection: Connection, series: Series, span: Span) -> Iterator[Stepped]:
    """Yield readings by the long way, which knows rows, missing values and parts of blocks."""
    whole, _ = read_series(connection, (series,), span)
    column = whole.columns[series.id]
    there = column.present()
    if there.any():
        yield Stepped.of(whole.at_ms[there], column.values[there])
