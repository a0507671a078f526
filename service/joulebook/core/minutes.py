"""Fast readings averaged to minutes, and readings of one device put on another's time axis.

A year of readings each second is thirty million rows; what wear is measured on needs one a minute.
"""

from collections.abc import Mapping

import numpy as np

from joulebook.core.history import Floats, Instants

MINUTE_MS = 60_000
#: A minute of which less is covered is missing (our choice).
_LEAST_COVERED_RATIO = 0.5
#: Few enough to stay in the processor's cache, and enough that a call costs nothing.
_ROWS_AT_ONCE = 65_536

Columns = dict[str, Floats]


def minute_means(
    at_ms: Instants,
    columns: Mapping[str, Floats],
    *,
    max_gap_s: float,
    step_ms: int = MINUTE_MS,
) -> tuple[Instants, Columns]:
    """Return means over minutes of the clock, each reading holding until the next.

    Parameters
    ----------
    at_ms : int64 (n,)
        Strictly increasing. [ms, UTC epoch]
    columns : mapping of float64 (n,)
        Quantities, NaN where missing: the reading before one that is missing holds on.
    max_gap_s : float
        The longest that a reading holds; before a longer silence it counts for nothing. [s]
    step_ms : int
        Length of a minute. [ms]

    Returns
    -------
    at_ms : int64 (m,)
        Where minutes begin of which at least one quantity is known.
    columns : dict of float64 (m,)
        Their means over the covered time; NaN where less than half was covered.

    Raises
    ------
    ValueError
        If shapes differ, or instants do not strictly increase.

    Notes
    -----
    10 W at 0 s, 40 W at 20 s, the next reading at 60 s: (10 · 20 + 40 · 40) / 60 = 30 W.
    """
    means = MinuteMeans(list(columns), max_gap_s=max_gap_s, step_ms=step_ms)
    parts = []
    for first in range(0, max(at_ms.size, 1), _ROWS_AT_ONCE):
        rows = slice(first, first + _ROWS_AT_ONCE)
        parts.append(means.feed(at_ms[rows], {name: each[rows] for name, each in columns.items()}))
    parts.append(means.finish())
    return np.concatenate([at for at, _ in parts]), {
        name: np.concatenate([part[name] for _, part in parts]) for name in columns
    }


class MinuteMeans:
    """The same for a record that comes in parts, week by week: the sum of parts is the whole.

    Parameters
    ----------
    names : list of str
        The quantities that every part brings.
    max_gap_s, step_ms
        As of `minute_means`.
    """

    def __init__(self, names: list[str], *, max_gap_s: float, step_ms: int = MINUTE_MS) -> None:
        self._gap_ms = round(max_gap_s * 1000)
        self._step_ms = step_ms
        self._from_ms: int | None = None  # minutes before are told already
        self._at_ms: Instants = np.empty(0, dtype=np.int64)
        self._columns: Columns = {name: np.empty(0) for name in names}

    def feed(self, at_ms: Instants, columns: Mapping[str, Floats]) -> tuple[Instants, Columns]:
        """Take the next part and return the minutes that no later reading can change.

        Raises
        ------
        ValueError
            If shapes differ, or instants do not strictly increase, from part to part as well.
        """
        for name in self._columns:
            if columns[name].shape != at_ms.shape:
                raise ValueError(f"{at_ms.size} instants, but {columns[name].size} of {name}")
        if not at_ms.size:
            return self._nothing()
        if self._at_ms.size:
            at_ms = np.concatenate([self._at_ms, at_ms])
            columns = {
                name: np.concatenate([kept, columns[name]]) for name, kept in self._columns.items()
            }
        if (at_ms[1:] <= at_ms[:-1]).any():
            raise ValueError("instants do not strictly increase")
        # What comes later cannot reach back further than a reading may hold.
        settled_ms = (int(at_ms[-1]) - self._gap_ms) // self._step_ms * self._step_ms
        told = self._between(at_ms, columns, settled_ms)
        first = int(np.searchsorted(at_ms, settled_ms - self._gap_ms))
        self._at_ms = at_ms[first:].copy()
        self._columns = {name: columns[name][first:].copy() for name in self._columns}
        return told

    def finish(self) -> tuple[Instants, Columns]:
        """Return the minutes that are left, the last one as far as it goes."""
        if not self._at_ms.size:
            return self._nothing()
        end_ms = -(-int(self._at_ms[-1]) // self._step_ms) * self._step_ms
        return self._between(self._at_ms, self._columns, end_ms)

    def _nothing(self) -> tuple[Instants, Columns]:
        return np.empty(0, dtype=np.int64), {name: np.empty(0) for name in self._columns}

    def _between(
        self, at_ms: Instants, columns: Mapping[str, Floats], end_ms: int
    ) -> tuple[Instants, Columns]:
        """Return the minutes from where the last ones ended up to ``end_ms``."""
        if self._from_ms is None:
            self._from_ms = int(at_ms[0]) // self._step_ms * self._step_ms
        edges = np.arange(self._from_ms, end_ms + 1, self._step_ms)
        if edges.size < 2:
            return self._nothing()
        self._from_ms = int(edges[-1])
        clock = _Minutes(at_ms, edges, self._gap_ms)
        means = {name: clock.means(columns[name]) for name in self._columns}
        known = np.logical_or.reduce([~np.isnan(mean) for mean in means.values()])
        return edges[:-1][known], {name: mean[known] for name, mean in means.items()}


class _Minutes:
    """Which readings hold how long in which minutes."""

    def __init__(self, at_ms: Instants, edges: Instants, gap_ms: int) -> None:
        self._at_ms, self._edges, self._gap_ms = at_ms, edges, gap_ms
        held = np.zeros(at_ms.size)
        np.subtract(at_ms[1:], at_ms[:-1], out=held[:-1], casting="unsafe")
        held[held > gap_ms] = 0.0
        self._held_ms = held
        # Up to an edge: all readings before the last one, and that one for as long as it held.
        last = np.searchsorted(at_ms, edges, side="right") - 1
        self._last = last.clip(0)
        self._since_ms = np.minimum(edges - at_ms[self._last], held[self._last]).clip(0)
        self._covered_ms = self._between(held) + np.diff(self._since_ms)

    def means(self, values: Floats) -> Floats:
        """Return the mean of each minute; NaN where less than half of it is covered."""
        sums = self._between(values * self._held_ms)
        sums += np.diff(values[self._last] * self._since_ms)
        if np.isnan(sums).any():  # cheaper than asking each reading
            there = ~np.isnan(values)
            if not there.any():
                return np.full(sums.size, np.nan)
            return _Minutes(self._at_ms[there], self._edges, self._gap_ms).means(values[there])
        means: Floats = np.full(sums.size, np.nan)
        enough = self._covered_ms >= _LEAST_COVERED_RATIO * np.diff(self._edges)
        means[enough] = sums[enough] / self._covered_ms[enough]
        return means

    def _between(self, parts: Floats) -> Floats:
        """Return the sums of whole readings from edge to edge."""
        sums: Floats = np.add.reduceat(parts, self._last)[:-1]
        sums[self._last[1:] == self._last[:-1]] = 0.0  # there `reduceat` gives the reading itself
        return sums


def resampled(onto_ms: Instants, at_ms: Instants, values: Floats, *, max_gap_s: float) -> Floats:
    """Return readings on another time axis, on straight lines between neighbours.

    Parameters
    ----------
    onto_ms : int64 (m,)
        Where they are wanted. [ms, UTC epoch]
    at_ms, values : int64 (n,), float64 (n,)
        Readings in order of time, NaN where missing.
    max_gap_s : float
        Across a longer silence, and outside of all readings, the answer is NaN. [s]
    """
    there = ~np.isnan(values)
    if not there.all():
        at_ms, values = at_ms[there], values[there]
    if not at_ms.size:
        return np.full(onto_ms.size, np.nan)
    if np.array_equal(onto_ms, at_ms):
        return values.copy()
    right = np.searchsorted(at_ms, onto_ms).clip(0, at_ms.size - 1)
    left = np.where(at_ms[right] == onto_ms, right, right - 1).clip(0)
    width = at_ms[right] - at_ms[left]
    share = (onto_ms - at_ms[left]) / np.maximum(width, 1)
    line: Floats = values[left] + share * (values[right] - values[left])
    line[(width > max_gap_s * 1000) | (onto_ms < at_ms[0]) | (onto_ms > at_ms[-1])] = np.nan
    return line
