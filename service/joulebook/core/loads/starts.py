"""Starts: steps of the load from one reading to the next, found in months of readings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.curves import Curve, aligned
from joulebook.core.history import Floats, Instants
from joulebook.core.spans import Span

#: Smaller steps are no start worth telling. [W]
LEAST_STEP_W = 200.0
#: A rise that a logger cut in two belongs together; its first part is at least this share of it.
_FIRST_SHARE = 0.05
#: Starts are alike where their steps are within this share, and the legs' shares within the other.
_ALIKE_RATIO, _ALIKE_LEG = 0.12, 0.15
#: So many kinds of starts are told.
MOST_KINDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """Starts in order of time; arrays of equal length.

    Attributes
    ----------
    at_ms : int64 (n,)
        The last reading before the rise. [ms, UTC epoch]
    step_w : float64 (n,)
        By how much the load rose, over two readings at most. [W]
    l1_w, l2_w : float64 (n,)
        The same of each leg, NaN where it is not known. [W]
    """

    at_ms: Instants
    step_w: Floats
    l1_w: Floats
    l2_w: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """Starts that are alike, by the largest of them.

    Attributes
    ----------
    at_ms : int
        The last reading before the largest. [ms, UTC epoch]
    step_w : float
        Of it. [W]
    l1_w, l2_w : float or None
        Of it, leg by leg. [W]
    count : int
        How many there were.
    """

    at_ms: int
    step_w: float
    l1_w: float | None
    l2_w: float | None
    count: int


def find_starts(load: Curve, legs: tuple[Curve, Curve] | None, span: Span) -> Starts:
    """Return the starts that begin in a span.

    Parameters
    ----------
    load : Curve
        The whole load. [W]
    legs : tuple of two Curves, or None
        L1 and L2, where they are measured. [W]

    Notes
    -----
    Readings of 100, 900 and 1600 W: one start of 1500 W, for its middle reading fell into it.
    """
    lines = aligned([load, *(legs or ())])
    at_ms, joined, watts = lines[0].at_ms, lines[0].joined, lines[0].value
    if at_ms.size < 2:
        return joined_starts(())
    first = np.where(joined, np.diff(watts), 0.0)
    then = np.maximum(np.append(first[1:], 0.0), 0.0)
    step = first + then
    found = np.flatnonzero((step >= LEAST_STEP_W) & (first >= _FIRST_SHARE * step))
    inside = (at_ms[found] >= span.start_ms) & (at_ms[found] < span.end_ms)
    rows = _largest_of_each_rise(found[inside], step)
    end = rows + 1 + (then[rows] > 0)
    sides = [line.value[end] - line.value[rows] for line in lines[1:]]
    unknown = np.full(rows.size, np.nan)
    return Starts(
        at_ms=at_ms[rows],
        step_w=step[rows],
        l1_w=sides[0] if sides else unknown,
        l2_w=sides[1] if sides else unknown,
    )


def joined_starts(parts: Sequence[Starts]) -> Starts:
    """Return parts that follow one another as one."""
    return Starts(
        at_ms=np.concatenate([np.empty(0, np.int64), *(part.at_ms for part in parts)]),
        **{
            name: np.concatenate([np.empty(0), *(getattr(part, name) for part in parts)])
            for name in ("step_w", "l1_w", "l2_w")
        },
    )


def kinds_of(starts: Starts, *, most: int = MOST_KINDS) -> list[Kind]:
    """Return the largest kinds of starts, the largest first."""
    left = np.argsort(-starts.step_w, kind="stable")
    share = _leg_share(starts)
    kinds: list[Kind] = []
    while left.size and len(kinds) < most:
        top = left[0]
        near = starts.step_w[left] >= (1 - _ALIKE_RATIO) * starts.step_w[top]
        # Without legs the shares are NaN, and all are alike.
        near &= ~(np.abs(share[left] - share[top]) > _ALIKE_LEG)
        kinds.append(
            Kind(
                at_ms=int(starts.at_ms[top]),
                step_w=float(starts.step_w[top]),
                l1_w=_known(starts.l1_w[top]),
                l2_w=_known(starts.l2_w[top]),
                count=int(np.count_nonzero(near)),
            )
        )
        left = left[~near]
    return kinds


def _largest_of_each_rise(rows: Instants, step: Floats) -> Instants:
    """Return one row for each run of neighbours: that of the largest step."""
    if not rows.size:
        return rows
    begins = np.flatnonzero(np.diff(rows, prepend=rows[0] - 3) > 2)
    largest = np.maximum.reduceat(step[rows], begins)
    run = np.repeat(np.arange(begins.size), np.diff(np.append(begins, rows.size)))
    of_run = np.flatnonzero(step[rows] == largest[run])
    _, first = np.unique(run[of_run], return_index=True)
    kept: Instants = rows[of_run[first]]
    return kept


def _leg_share(starts: Starts) -> Floats:
    both = np.abs(starts.l1_w) + np.abs(starts.l2_w)
    share = np.full(both.size, np.nan)
    np.divide(starts.l1_w, both, out=share, where=both > 0)
    return share


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
