"""The table as CSV: what ``joulebook import`` reads, and reads back equal."""

import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.cells import cells_of
from joulebook.core.quantities import ValueKind
from joulebook.export.tables import TablePart, header_of
from joulebook.storage.records import Series

# RFC 4180: a field with one of these is quoted.
_TO_QUOTE = re.compile(r'[",\r\n]')


def write_csv(path: Path, series: Sequence[Series], parts: Iterable[TablePart]) -> None:
    """Write a table; only texts can need quotes: names and units have no commas."""
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.writelines(csv_lines(series, parts))


def csv_lines(series: Sequence[Series], parts: Iterable[TablePart]) -> Iterator[str]:
    """Yield the lines that `write_csv` writes."""
    yield ",".join(["time", *map(header_of, series)]) + "\n"
    for part in parts:
        columns = zip(part.columns, series, strict=True)
        cells = [_times(part.at_ms), *(_cells(values, one.kind) for values, one in columns)]
        yield from (",".join(row) + "\n" for row in zip(*cells, strict=True))


def _times(at_ms: NDArray[np.int64]) -> list[str]:
    """Return instants as RFC 3339 with milliseconds: 2026-07-14T12:00:00.000Z."""
    instants = at_ms.astype("datetime64[ms]")
    return [f"{text}Z" for text in np.datetime_as_string(instants).tolist()]


def _cells(values: NDArray[Any], kind: ValueKind) -> Sequence[str]:
    cells = cells_of(values, kind)
    return [_quoted(cell) for cell in cells] if kind == "text" else cells


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if _TO_QUOTE.search(cell) else cell
