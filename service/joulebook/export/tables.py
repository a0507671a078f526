"""A site's readings as one table: instants down, series across, a stretch at a time."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.cells import header_for, present
from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.reading import read_series
from joulebook.storage.records import DamagedBlock, Series

# Read at once: a day of UTC, as the readings lie on disk.
_WINDOW_MS = 86_400_000
#: Rows handed out at once: what is written as text takes many times the room of its numbers.
MOST_ROWS = 10_000


@dataclass(frozen=True, slots=True)
class TablePart:
    """Some rows of the table, in order of time; each has one reading at least.

    Attributes
    ----------
    at_ms : int array, shape (n,)
        Instants, each later than the one before, across parts too. [ms, UTC epoch]
    columns : list of float or object arrays, shape (n,)
        In the order of the series asked for: numbers, flags as 0 and 1, NaN where missing; texts
        as str, None where missing.
    """

    at_ms: NDArray[np.int64]
    columns: list[NDArray[Any]]

    @property
    def readings(self) -> int:
        """How many readings there are."""
        return sum(int(np.count_nonzero(present(column))) for column in self.columns)


def header_of(series: Series) -> str:
    """Return the name of a column, as :func:`joulebook.core.cells.header_for`."""
    return header_for(series.device, series.quantity, series.unit, series.kind)


def table_parts(
    connection: Connection,
    series: Sequence[Series],
    span: Span,
    *,
    lacking: Callable[[DamagedBlock], None],
) -> Iterator[TablePart]:
    """Yield the readings of some series in a span, in bounded memory.

    Parameters
    ----------
    series : sequence of Series
        Of any kind, those of a device together.
    lacking : callable
        Told of each block that is damaged, perhaps several times: the table lacks what it held.
    """
    devices = [list(those) for _, those in groupby(series, lambda one: one.device_id)]
    start_ms = span.start_ms
    while start_ms < span.end_ms:
        end_ms = min((start_ms // _WINDOW_MS + 1) * _WINDOW_MS, span.end_ms)
        window = Span(start_ms, end_ms)
        blocks = []
        for those in devices:
            block, damaged = read_series(connection, those, window)
            blocks.append((block.at_ms, [block.columns[one.id].values for one in those]))
            for one in damaged:
                lacking(one)
        yield from _parts(blocks)
        start_ms = end_ms


def _parts(read: list[tuple[NDArray[np.int64], list[NDArray[Any]]]]) -> Iterator[TablePart]:
    """Put devices side by side on one time axis, without rows that hold nothing."""
    at_ms = np.unique(np.concatenate([instants for instants, _ in read]))
    columns = []
    filled = np.zeros(len(at_ms), dtype=bool)
    for instants, those in read:
        places = np.searchsorted(at_ms, instants)
        for values in those:
            missing = None if values.dtype == np.object_ else np.nan
            column = np.full(len(at_ms), missing, dtype=values.dtype)
            column[places] = values
            filled |= present(column)
            columns.append(column)
    at_ms, columns = at_ms[filled], [column[filled] for column in columns]
    for start in range(0, len(at_ms), MOST_ROWS):
        part = slice(start, start + MOST_ROWS)
        yield TablePart(at_ms[part], [column[part] for column in columns])
