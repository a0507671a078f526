"""The table as CSV: what ``joulebook import`` reads, and reads back equal."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joulebook.export.tables import TablePart, header_of
from joulebook.storage.records import Series


def write_csv(path: Path, series: Sequence[Series], parts: Iterable[TablePart]) -> None:
    """Write a table. Nothing in it needs quotes: names and units have no commas.

    A number is the shortest text that reads back as the same float, so every bit survives.
    """
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.writelines(csv_lines(series, parts))


def csv_lines(series: Sequence[Series], parts: Iterable[TablePart]) -> Iterator[str]:
    """Yield the lines that `write_csv` writes."""
    yield ",".join(["time", *map(header_of, series)]) + "\n"
    for part in parts:
        cells = [_times(part.at_ms), *map(_numbers, part.columns)]
        yield from (",".join(row) + "\n" for row in zip(*cells, strict=True))


def _times(at_ms: NDArray[np.int64]) -> list[str]:
    """Return instants as RFC 3339 with milliseconds: 2026-07-14T12:00:00.000Z."""
    instants = at_ms.astype("datetime64[ms]")
    return [f"{text}Z" for text in np.datetime_as_string(instants).tolist()]


def _numbers(values: NDArray[np.float64]) -> list[str]:
    return ["" if value != value else repr(value) for value in values.tolist()]
