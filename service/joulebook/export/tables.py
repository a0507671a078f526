"""A site's readings as one table: instants down, series across, a stretch at a time."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.reading import read_device
from joulebook.storage.records import DamagedBlock, DeviceReadings, Series, Site

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
    columns : list of float arrays, shape (n,)
        In the order of the series asked for; NaN is missing.
    """

    at_ms: NDArray[np.int64]
    columns: list[NDArray[np.float64]]

    @property
    def readings(self) -> int:
        """How many readings there are."""
        return sum(int(np.count_nonzero(~np.isnan(column))) for column in self.columns)


def header_of(series: Series) -> str:
    """Return the name of a column: ``device.quantity [unit]``, without unit where it has none."""
    unit = f" [{series.unit}]" if series.unit else ""
    return f"{series.device}.{series.quantity}{unit}"


def table_parts(
    connection: Connection,
    site: Site,
    series: Sequence[Series],
    span: Span,
    *,
    lacking: Callable[[DamagedBlock], None],
) -> Iterator[TablePart]:
    """Yield the readings of some series in a span, in bounded memory.

    Parameters
    ----------
    series : sequence of Series
        Numbers and flags (as 0 and 1), those of a device together.
    lacking : callable
        Told of each block that is damaged, perhaps several times: the table lacks what it held.
    """
    devices = [
        (device, [one.quantity for one in those])
        for device, those in groupby(series, lambda one: one.device)
    ]
    start_ms = span.start_ms
    while start_ms < span.end_ms:
        end_ms = min((start_ms // _WINDOW_MS + 1) * _WINDOW_MS, span.end_ms)
        window = Span(start_ms, end_ms)
        read = [
            (read_device(connection, site.id, device, window, quantities=names), names)
            for device, names in devices
        ]
        for readings, _ in read:
            for damaged in readings.damaged:
                lacking(damaged)
        yield from _parts(read)
        start_ms = end_ms


def _parts(read: list[tuple[DeviceReadings, list[str]]]) -> Iterator[TablePart]:
    """Put devices side by side on one time axis, without rows that hold nothing."""
    at_ms = np.unique(np.concatenate([readings.at_ms for readings, _ in read]))
    columns = []
    filled = np.zeros(len(at_ms), dtype=bool)
    for readings, names in read:
        places = np.searchsorted(at_ms, readings.at_ms)
        for name in names:
            column = np.full(len(at_ms), np.nan)
            column[places] = readings.values[name]
            filled |= ~np.isnan(column)
            columns.append(column)
    at_ms, columns = at_ms[filled], [column[filled] for column in columns]
    for start in range(0, len(at_ms), MOST_ROWS):
        part = slice(start, start + MOST_ROWS)
        yield TablePart(at_ms[part], [column[part] for column in columns])
