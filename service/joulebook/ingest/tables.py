"""CSV files of readings: a ``time`` column, then ``device.quantity [unit]`` columns.

Read in chunks, so that a file may be larger than the memory. A cell that cannot be read and a line
whose time cannot be read are set aside with the line's number; a wrong header stops the import
before anything is stored.
"""

import csv
import io
import os
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import IO, BinaryIO, NamedTuple

import numpy as np

from joulebook.errors import UsageError
from joulebook.ingest.bulk import BulkImport, DeviceColumns, ImportCounts
from joulebook.ingest.cells import instants_of, values_of
from joulebook.ingest.headers import Expect, TableColumn, read_header
from joulebook.ingest.senml_fields import MAX_PACK_BYTES
from joulebook.ingest.topics import PREFIX
from joulebook.ingest.wording import shown
from joulebook.storage.database import Database
from joulebook.storage.records import Refused, Site

#: Lines read at once. Each device's share of them is one commit.
CHUNK_LINES = 20_000

# Lines named in the detail of what is set aside.
_TOLD_LINES = 5

_READABLE = {
    "number": "a number with a decimal point",
    "flag": "true or false",
    "text": "text in UTF-8",
}


@dataclass(frozen=True, slots=True)
class SetAside:
    """Cells or lines that could not be read, for one reason, as a CSV file of their own."""

    reason: str
    detail: str
    readings: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some lines of a file: the readings by device, and what could not be read."""

    lines: int
    devices: list[DeviceColumns]
    aside: list[SetAside]


def import_csv(
    database: Database,
    site: Site,
    path: Path,
    *,
    clock_ms: Callable[[], int],
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> ImportCounts:
    """Import a CSV file of readings; on disk by the time it returns.

    Parameters
    ----------
    progress : callable
        Told how many bytes of how many are done.

    Raises
    ------
    UsageError
        If the file cannot be read or its header is wrong. Nothing was stored.
    StorageUnavailableError
        If the database cannot be written. What was stored before stays; importing again is safe.
    """
    with _opened(path) as stream:
        return import_csv_stream(
            database,
            site,
            stream,
            source=path.name,
            clock_ms=clock_ms,
            progress=progress,
            total=os.fstat(stream.fileno()).st_size,
        )


def import_csv_stream(
    database: Database,
    site: Site,
    stream: BinaryIO,
    *,
    source: str,
    clock_ms: Callable[[], int],
    progress: Callable[[int, int], None] = lambda _done, _total: None,
    total: int = 0,
) -> ImportCounts:
    """Import CSV from a stream, as :func:`import_csv` does.

    Parameters
    ----------
    source : str
        Who sends it, for what is set aside.
    total : int
        How many bytes there are, for ``progress``.
    """
    lines = 0
    with (
        BulkImport(database, site, source=source, clock_ms=clock_ms) as bulk,
        closing(read_csv(stream, expect=bulk.expected, where=source)) as chunks,
    ):
        for chunk in chunks:
            for columns in chunk.devices:
                bulk.add(columns)
            refused = [_refused(site, source, one, clock_ms()) for one in chunk.aside]
            bulk.put_aside(refused, readings=sum(one.readings for one in chunk.aside))
            lines += chunk.lines
            progress(stream.tell() if stream.seekable() else 0, total)
        return replace(bulk.counts, rows=lines)


def read_csv(
    stream: IO[bytes], *, expect: Expect, where: object, chunk_lines: int = CHUNK_LINES
) -> Generator[Chunk]:
    """Yield a file's lines in chunks.

    Raises
    ------
    UsageError
        If the header is wrong, before the first chunk.
    """
    # Bytes that are no UTF-8 pass through, so that only the cell that holds them is bad.
    text = io.TextIOWrapper(stream, encoding="utf-8-sig", errors="surrogateescape", newline="")
    try:
        lines = _lines(text)
        first = next(lines, None)
        columns = read_header(first.fields if first else [], expect=expect, where=where)
        while batch := list(islice(lines, chunk_lines)):
            yield _chunk(batch, columns)
    finally:
        text.detach()  # the stream is the caller's to close


class _Line(NamedTuple):
    """A record of the file: its fields, or none and what is wrong with it."""

    number: int  # of the line on which it begins
    fields: list[str]
    raw: str
    fault: str


def _lines(text: Iterable[str]) -> Iterator[_Line]:
    """Yield the records that are not blank. One that is wrongly quoted costs itself only."""
    raw: list[str] = []

    def tapped() -> Iterator[str]:
        for line in text:
            raw.append(line)
            yield line

    # A text may be as long as a message; Python's own limit, of the whole process, is half that.
    csv.field_size_limit(MAX_PACK_BYTES)
    reader = csv.reader(tapped(), strict=True)
    number = 1
    while True:
        fault = ""
        try:
            fields = next(reader, None)
        except csv.Error as error:
            fields, fault = [], f"is wrongly quoted ({error})"
        if fields is None:
            return
        if fields or fault:
            yield _Line(number, fields, "".join(raw) if fault else "", fault)
        number += len(raw)
        raw.clear()


def _chunk(batch: list[_Line], columns: list[TableColumn]) -> Chunk:
    width = len(columns) + 1
    whole = [line for line in batch if len(line.fields) == width]
    aside = []
    if len(whole) < len(batch):
        aside.append(_broken([line for line in batch if len(line.fields) != width], width))
    cells: list[Sequence[str]] = list(zip(*(line.fields for line in whole), strict=True))
    at_ms, undated = instants_of(cells[0] if cells else ())
    if undated:
        aside.append(_undated([whole[place] for place in undated], columns))
    dated = np.ones(len(whole), dtype=bool)
    dated[undated] = False
    devices: dict[str, DeviceColumns] = {}
    for column in columns if cells else ():
        values, bad = values_of(cells[column.place], column.kind)
        bad = [place for place in bad if dated[place]]
        if bad:
            aside.append(_unread(column, [whole[place] for place in bad]))
        if column.kind == "number" and not column.conversion.changes_nothing:
            values = np.array([column.conversion.apply(number) for number in values.tolist()])
        device = devices.setdefault(column.device, DeviceColumns(column.device, at_ms[dated], {}))
        device.values[column.quantity] = values[dated]
        device.units[column.quantity] = column.unit
        device.kinds[column.quantity] = column.kind
    return Chunk(len(batch), list(devices.values()), aside)


def _broken(lines: list[_Line], width: int) -> SetAside:
    first = lines[0]
    what = first.fault or f"has {len(first.fields)} cells; expected {width}"
    raw = "".join(line.raw or _csv([line.fields]) for line in lines)
    readings = sum(max(1, sum(map(bool, line.fields[1:]))) for line in lines)
    return SetAside("line-malformed", f"{_where(lines)} {what}", readings, _bytes(raw))


def _undated(lines: list[_Line], columns: list[TableColumn]) -> SetAside:
    what = (
        f"is dated {shown(lines[0].fields[0])}; expected RFC 3339 with an offset, or Unix seconds"
    )
    header = ["time", *(column.header for column in columns)]
    raw = _csv([header, *(line.fields for line in lines)])
    readings = sum(max(1, sum(map(bool, line.fields[1:]))) for line in lines)
    return SetAside("time-unreadable", f"{_where(lines)} {what}", readings, _bytes(raw))


def _unread(column: TableColumn, lines: list[_Line]) -> SetAside:
    cells = [(line.fields[0], line.fields[column.place]) for line in lines]
    what = f"has {shown(cells[0][1])} for {column.header}; expected {_READABLE[column.kind]}"
    raw = _csv([("time", column.header), *cells])
    return SetAside("cell-unreadable", f"{_where(lines)} {what}", len(lines), _bytes(raw))


def _where(lines: list[_Line]) -> str:
    """Return the sentence's beginning: which lines, of which the first is then described."""
    if len(lines) == 1:
        return f"line {lines[0].number}"
    told = ", ".join(str(line.number) for line in lines[:_TOLD_LINES])
    more = f" and {len(lines) - _TOLD_LINES} more" if len(lines) > _TOLD_LINES else ""
    return f"lines {told}{more}: the first"


def _csv(rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogateescape")


def _refused(site: Site, source: str, aside: SetAside, received_ms: int) -> Refused:
    return Refused(
        site_id=site.id,
        source=source,
        topic=f"{PREFIX}{site.name}",
        payload=aside.payload,
        reason=aside.reason,
        detail=aside.detail,
        received_ms=received_ms,
    )


def _opened(path: Path) -> BinaryIO:
    try:
        return path.open("rb")
    except OSError as error:
        raise UsageError(
            f"the file cannot be read ({error.strerror})",
            where=path,
            expected="a CSV file of readings",
            next_step="check its name and its permissions",
        ) from error
