"""Readings joined by straight lines where they are close enough, and holes where they are not."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import Span

#: No integral bridges a longer silence, whatever the usual spacing is. [s]
MAX_GAP_S = 300.0
#: How many usual spacings may pass before silence counts as a gap (our choice).
USUAL_SPACINGS = 5.0

_HOUR_MS = 3_600_000
_READINGS_TO_JUDGE_AN_HOUR = 10


@dataclass(frozen=True, slots=True)
class Curve:
    """A quantity over time as straight lines between readings.

    Attributes
    ----------
    at_ms : int array, shape (n,)
        Instants, strictly increasing. [ms, UTC epoch]
    value : float array, shape (n,)
        Never NaN; without meaning where neither neighbour is joined to it.
    joined : bool array, shape (n - 1,), or (0,) where n is 0
        Whether the line from a reading to the next may be drawn.
    """

    at_ms: NDArray[np.int64]
    value: NDArray[np.float64]
    joined: NDArray[np.bool_]


def curve(
    at_ms: NDArray[np.int64],
    value: NDArray[np.float64],
    *,
    max_gap_s: float | None = None,
    limit_s: float = MAX_GAP_S,
) -> Curve:
    """Return the curve through the readings that are there.

    NaN readings are dropped first, so that one lost reading is a longer step and not a hole.

    Parameters
    ----------
    at_ms, value : int and float arrays, shape (n,)
        Instants [ms, UTC epoch] and the quantity in its own unit, NaN where there was none.
    max_gap_s : float, optional
        The longest step that a line may bridge; by default `usual_max_gap_s`. [s]
    limit_s : float
        What that default is never above. [s]

    Raises
    ------
    ValueError
        If the shapes differ or the instants do not strictly increase.
    """
    if at_ms.shape != value.shape:
        raise ValueError(f"{at_ms.size} instants, but {value.size} values")
    there = ~np.isnan(value)
    if not there.all():
        at_ms, value = at_ms[there], value[there]
    step_ms = np.diff(at_ms)
    if step_ms.size and step_ms.min() <= 0:
        raise ValueError("instants do not strictly increase")
    if max_gap_s is None:
        max_gap_s = usual_max_gap_s(at_ms, limit_s=limit_s)
    return Curve(at_ms, value, step_ms <= max_gap_s * 1000)


def usual_max_gap_s(at_ms: NDArray[np.int64], *, limit_s: float = MAX_GAP_S) -> float:
    """Return the longest step that still counts as measured: five usual spacings. [s]

    The usual spacing is the median. On a day whose spacing changes (a bridge set to another
    rate at noon), the slower rate is usual too: the slowest hour's median decides.

    Parameters
    ----------
    at_ms : int array, shape (n,)
        Instants of one device, increasing. [ms, UTC epoch]
    limit_s : float
        The answer is never above this. [s]
    """
    step_ms = np.diff(at_ms)
    if step_ms.size == 0:
        return limit_s
    usual_ms = _median(step_ms)
    if usual_ms * USUAL_SPACINGS >= limit_s * 1000:
        return limit_s
    # Only where half of its steps are longer than usual can an hour's median be: few medians.
    hours = np.arange(at_ms[0] // _HOUR_MS + 1, at_ms[-1] // _HOUR_MS + 1)
    edges = np.concatenate([[0], at_ms[:-1].searchsorted(hours * _HOUR_MS), [step_ms.size]])
    longer = np.diff(np.flatnonzero(step_ms > usual_ms).searchsorted(edges))
    size = np.diff(edges)
    for hour in np.flatnonzero((2 * longer >= size) & (size >= _READINGS_TO_JUDGE_AN_HOUR)):
        usual_ms = max(usual_ms, _median(step_ms[edges[hour] : edges[hour + 1]]))
    return min(limit_s, USUAL_SPACINGS * usual_ms / 1000)


def _median(steps: NDArray[np.int64]) -> float:
    # Of a regular clock more than half of the steps are the same one, and that is the median.
    middle = steps[steps.size // 2]
    if 2 * np.count_nonzero(steps == middle) > steps.size:
        return float(middle)
    return float(np.median(steps))


def aligned(curves: Sequence[Curve]) -> list[Curve]:
    """Return the curves on one common grid: every instant of any of them, joined where all are.

    Between two neighbours of the grid each curve is one straight line or a hole, so nothing is
    lost and no hole is bridged.
    """
    first = curves[0]
    if all(np.array_equal(first.at_ms, other.at_ms) for other in curves[1:]):
        joined = np.logical_and.reduce([each.joined for each in curves])
        return [Curve(each.at_ms, each.value, joined) for each in curves]
    # A stable sort merges sorted stretches quickly; np.unique would hash every instant.
    grid = np.sort(np.concatenate([each.at_ms for each in curves]), kind="stable")
    fresh = grid[1:] > grid[:-1]
    if not fresh.all():
        grid = grid[np.append(fresh, True)]
    if any(each.at_ms.size < 2 for each in curves):
        nowhere = np.zeros(max(grid.size - 1, 0), dtype=np.bool_)
        return [Curve(grid, np.zeros(grid.size), nowhere) for _ in curves]
    joined = np.ones(grid.size - 1, dtype=np.bool_)
    for each in curves:
        # A step of this curve is as many steps of the grid; outside of them all nothing is joined.
        first, last = grid.searchsorted(each.at_ms[[0, -1]])
        joined[:first] = False
        joined[last:] = False
        holes = np.flatnonzero(~each.joined)
        if holes.size:  # none, as a rule
            inside = np.zeros(joined.size + 1, dtype=np.int64)
            inside[np.searchsorted(grid, each.at_ms[holes])] += 1
            inside[np.searchsorted(grid, each.at_ms[holes + 1])] -= 1
            joined &= inside.cumsum()[:-1] == 0
    # As floats, which hold these instants exactly: converting on the way takes twice as long.
    places = grid.astype(np.float64)
    return [
        Curve(grid, np.interp(places, each.at_ms.astype(np.float64), each.value), joined)
        for each in curves
    ]


def total(curves: Sequence[Curve]) -> Curve:
    """Return the sum of curves where all of them are there."""
    if len(curves) == 1:
        return curves[0]
    parts = aligned(curves)
    return Curve(parts[0].at_ms, np.sum([part.value for part in parts], axis=0), parts[0].joined)


def mean(curves: Sequence[Curve]) -> Curve:
    """Return the plain mean of curves where all of them are there."""
    whole = total(curves)
    return Curve(whole.at_ms, whole.value / len(curves), whole.joined)


def clipped(line: Curve, span: Span) -> Curve:
    """Return the part of a curve inside a span, its outer lines cut at the span's edges."""
    at_ms = line.at_ms
    first = max(int(at_ms.searchsorted(span.start_ms, side="right")) - 1, 0)
    last = min(int(at_ms.searchsorted(span.end_ms, side="left")) + 1, at_ms.size)
    at_ms, value = at_ms[first:last], line.value[first:last]
    if at_ms.size < 2:
        inside = (at_ms >= span.start_ms) & (at_ms < span.end_ms)
        return Curve(at_ms[inside], value[inside], np.zeros(0, dtype=np.bool_))
    joined = line.joined[first : last - 1]
    outer = int(at_ms[0]), int(at_ms[-1])
    edges = tuple(min(max(each, span.start_ms), span.end_ms) for each in outer)
    if edges != outer:
        left = _between(edges[0], at_ms[:2], value[:2])
        right = _between(edges[1], at_ms[-2:], value[-2:])
        at_ms, value = at_ms.copy(), value.copy()
        at_ms[0], at_ms[-1] = edges
        value[0], value[-1] = left, right
    return Curve(at_ms, value, joined)


def _between(edge_ms: int, at_ms: NDArray[np.int64], value: NDArray[np.float64]) -> float:
    """Return the value of the line between two readings, and outside of them that of the nearer.

    `np.interp` does the same, and takes longer than all else that is done for two readings.
    """
    (start_ms, end_ms), (start, end) = at_ms.tolist(), value.tolist()
    if edge_ms <= start_ms:
        return float(start)
    if edge_ms >= end_ms:
        return float(end)
    return float((end - start) / (end_ms - start_ms) * (edge_ms - start_ms) + start)


def coverage_ratio(line: Curve, span: Span) -> float:
    """Return the measured share of a span; 1 for one without length: nothing of it is missing."""
    if span.length_s == 0:
        return 1.0
    return min(_covered_ms(clipped(line, span)) / 1000 / span.length_s, 1.0)


def _covered_ms(part: Curve) -> float:
    """Return how long the lines of a curve are together: its length less its holes. [ms]"""
    if part.at_ms.size < 2:
        return 0.0
    holes = np.flatnonzero(~part.joined)
    holes_ms = (part.at_ms[holes + 1] - part.at_ms[holes]).sum()
    return float(part.at_ms[-1] - part.at_ms[0] - holes_ms)
