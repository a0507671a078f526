"""What a power added up to above and below zero, day by day, from every reading of years.

Lines and the gap rule are those of method `trapezoid-1` (``docs/methods/trapezoid.md``), but a
line belongs wholly to the day in which it begins, and no uncertainty is given.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from joulebook.core.stepped import Instants, Stepped, in_one

_HALF_MS_PER_HOUR = 7_200_000
#: So many readings are added up at once, two months at 10 s: with fewer, beginnings cost more than
#: sums, and more take memory. [rows]
_ROWS_AT_ONCE = 2**19
#: Sums of fewer numbers of 16 bits than this fit into 32 bits.
_FEW_ROWS = 2**16
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DailySums:
    """Totals of days: shapes (n,).

    Attributes
    ----------
    above, below : float64 arrays
        Both counted up, in value-hours; 0 where nothing was measured.
    covered_ms : int64 array
        Length of the lines that count. [ms]
    """

    above: Floats
    below: Floats
    covered_ms: NDArray[np.int64]


def daily_sums(parts: Iterable[Stepped], edges_ms: Instants, *, max_gap_ms: int) -> DailySums:
    """Add up straight lines between readings, cut where they cross zero.

    First as if every line were as long as most are and none crossed zero: sums of whole numbers,
    exact in any order. Then what puts the few others right.

    Parameters
    ----------
    parts : iterable of Stepped
        Of one series, in order of time; lines are drawn from each to the next.
    edges_ms : int64 array, shape (n + 1,)
        Where days begin, and where the last one ends, increasing. [ms, UTC epoch]
    max_gap_ms : int
        A longer line counts as nothing. [ms]
    """
    summing = _Summing(edges_ms, max_gap_ms)
    waiting: list[Stepped] = []
    rows = 0
    for part in parts:
        rows += part.clock.rows
        if waiting and (rows > _ROWS_AT_ONCE or not part.joins(waiting[0])):
            summing.add(waiting)
            waiting, rows = [], part.clock.rows
        waiting.append(part)
    if waiting:
        summing.add(waiting)
    return summing.result()


class _Room:
    """Arrays that are used again: a system gives new memory more slowly than we fill it."""

    def __init__(self) -> None:
        self._arrays: dict[tuple[str, DTypeLike], NDArray[Any]] = {}

    def of(self, use: str, dtype: DTypeLike, size: int) -> NDArray[Any]:
        """Return an array for a use, with whatever was in it."""
        array = self._arrays.get((use, dtype))
        if array is None or len(array) < size:
            array = self._arrays[use, dtype] = np.empty(size, dtype)
        return array[:size]


class _Summing:
    """Adds part after part; the lines between parts come at the end.

    One place more at either side of the days takes what begins before the first or after the last.
    """

    def __init__(self, edges_ms: Instants, max_gap_ms: int) -> None:
        self._edges_ms = edges_ms
        self._edges = edges_ms.tolist()
        self._max_gap_ms = max_gap_ms
        # Twice the sums. [value · ms]
        self._above, self._below = np.zeros(len(edges_ms) + 1), np.zeros(len(edges_ms) + 1)
        self._covered_ms = np.zeros(len(edges_ms) + 1, dtype=np.int64)
        self._ends: list[tuple[int, float, int, float]] = []
        self._room = _Room()

    def add(self, parts: Sequence[Stepped]) -> None:
        """Take the next readings, which join one another."""
        part = in_one(parts, self._room.of) if len(parts) > 1 else parts[0]
        clock, whole, worth = part.clock, part.whole, part.step / part.divisor
        first, last = float(whole[0]) * worth, float(whole[-1]) * worth
        last_ms = clock.last_ms
        self._ends.append((clock.first_ms, first, last_ms, last))
        if clock.rows == 1:
            return
        low, high = bisect_right(self._edges, clock.first_ms), bisect_right(self._edges, last_ms)
        starts = clock.rows_before(self._edges_ms[low:high])
        counted_ms = clock.step_ms if clock.step_ms <= self._max_gap_ms else 0
        self._add_usual(whole, [0, *starts.tolist(), clock.rows - 1], low, worth, counted_ms)
        before = clock.breaks - 1
        crossing = self._crossing(whole)
        crossing[before] = False
        rows = np.concatenate((before, np.flatnonzero(crossing)))
        steps_ms = np.full(len(rows), clock.step_ms)
        steps_ms[: len(before)] += clock.jumps_ms
        days = starts.searchsorted(rows, side="right") + low
        self._put_right(days, steps_ms, whole[rows] * worth, whole[rows + 1] * worth, counted_ms)

    def _add_usual(
        self, whole: NDArray[Any], edges: list[int], low: int, worth: float, counted_ms: int
    ) -> None:
        """Add all lines as if they were usual: those of each day are twice its readings' sum."""
        if any(first == last for first, last in pairwise(edges)):
            days = [day for day, (first, last) in enumerate(pairwise(edges), low) if first < last]
            edges = [*dict.fromkeys(edges)]
        else:
            days = list(range(low, low + len(edges) - 1))
        counts = [last - first for first, last in pairwise(edges)]
        wide = self._wide(whole, max(counts))
        totals = np.add.reduceat(wide[:-1], edges[:-1], dtype=wide.dtype).tolist()
        np.abs(wide, out=wide)
        sizes = np.add.reduceat(wide[:-1], edges[:-1], dtype=wide.dtype).tolist()
        ends = whole[edges].tolist()
        half = worth * counted_ms / 2
        nets, boths = (
            [2 * each - start + end for each, (start, end) in zip(of, pairwise(at), strict=True)]
            for of, at in ((totals, ends), (sizes, list(map(abs, ends))))
        )
        self._above[days] += [(both + net) * half for both, net in zip(boths, nets, strict=True)]
        self._below[days] += [(both - net) * half for both, net in zip(boths, nets, strict=True)]
        self._covered_ms[days] += [count * counted_ms for count in counts]

    def _wide(self, whole: NDArray[Any], rows: int) -> NDArray[Any]:
        """Return a copy in which so many numbers can be added up; the narrowest is the fastest."""
        wide: DTypeLike = np.int64
        if whole.dtype.kind == "f":
            wide = np.float64
        elif whole.dtype == np.int16 and rows < _FEW_ROWS:
            wide = np.int32
        copy = self._room.of("wide", wide, len(whole))
        np.copyto(copy, whole)
        return copy

    def _crossing(self, whole: NDArray[Any]) -> NDArray[np.bool_]:
        """Return between which neighbours the sign changes; zero has that of what is above it."""
        crossing = self._room.of("crossing", np.bool_, len(whole) - 1)
        if whole.dtype.kind == "f":
            below = np.less(whole, 0, out=self._room.of("below", np.bool_, len(whole)))
            np.not_equal(below[1:], below[:-1], out=crossing)
        else:
            both = self._room.of("both", whole.dtype, len(whole) - 1)
            np.bitwise_xor(whole[1:], whole[:-1], out=both)
            np.less(both, 0, out=crossing)
        return crossing

    def _put_right(
        self,
        days: NDArray[np.int64],
        steps_ms: NDArray[np.int64],
        start: Floats,
        end: Floats,
        counted_ms: int,
    ) -> None:
        """Add what lines hold beyond what was counted as if they were usual."""
        above = np.maximum(start, 0) + np.maximum(end, 0)
        below = above - (start + end)
        held_ms = np.where(steps_ms <= self._max_gap_ms, steps_ms, 0)
        more_ms = held_ms - counted_ms
        cut = np.flatnonzero((above > 0) & (below > 0))
        up, down, cut_ms = above[cut], below[cut], held_ms[cut]
        size, both = len(self._above), up + down
        for sums, part, side in ((self._above, above, up), (self._below, below, down)):
            more = part * more_ms
            more[cut] = side * side / both * cut_ms - side * counted_ms
            sums += np.bincount(days, more, size)
        self._covered_ms += np.bincount(days, more_ms, size).astype(np.int64)

    def result(self) -> DailySums:
        """Add the lines from part to part, and return the sums."""
        if len(self._ends) > 1:
            first_ms, first, last_ms, last = (
                np.array(column) for column in zip(*self._ends, strict=True)
            )
            days = self._edges_ms.searchsorted(last_ms[:-1], side="right")
            self._put_right(days, first_ms[1:] - last_ms[:-1], last[:-1], first[1:], 0)
        above, below = (sums[1:-1] / _HALF_MS_PER_HOUR for sums in (self._above, self._below))
        return DailySums(above, below, self._covered_ms[1:-1])
