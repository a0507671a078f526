"""Equivalent full cycles, and cycle depths by rainflow counting.

Methods `efc-1` and `rainflow-1`, see ``docs/methods/efc.md`` and ``docs/methods/rainflow.md``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

EFC_METHOD = "efc-1"
RAINFLOW_METHOD = "rainflow-1"

#: Turns of the state of charge smaller than this are noise of its last digit (our choice).
SMALLEST_TURN_RATIO = 0.02


@dataclass(frozen=True, slots=True)
class Cycle:
    """A full (count 1) or half (count 0.5) cycle: how deep it went and around which level."""

    range: float
    mean: float
    count: float


@dataclass(frozen=True, slots=True)
class DepthBin:
    """How many cycles had a depth from ``from_ratio`` up to, but not including, ``to_ratio``."""

    from_ratio: float
    to_ratio: float
    count: float


def equivalent_full_cycles(charge_ah: float, discharge_ah: float, *, rated_ah: float) -> float:
    """Return the throughput in full cycles of the *rated* charge.

    Parameters
    ----------
    charge_ah, discharge_ah : float
        Charge in and out, both counted up. [Ah]
    rated_ah : float
        What the maker rates, not what the worn battery still holds. [Ah]

    Raises
    ------
    ValueError
        If the rated charge is not above zero.

    Notes
    -----
    ``(charge + discharge) / (2 · rated)``: 100 Ah in and 100 Ah out of 200 Ah are 0.5.
    """
    if not rated_ah > 0:
        raise ValueError(f"rated charge must be above zero, not {rated_ah}")
    return (charge_ah + discharge_ah) / (2 * rated_ah)


def turning_points(values: Sequence[float], *, smallest: float = 0.0) -> list[float]:
    """Return the ends and the reversals of a history, without turns below ``smallest``.

    Applied to its own result, or to the results of consecutive stretches put together, it
    gives what the whole history would give, to within ``smallest``.
    """
    turns: list[float] = []
    for value in values:
        if len(turns) >= 2 and (turns[-1] - turns[-2]) * (value - turns[-1]) >= 0:
            turns[-1] = value  # goes on in the same direction
        elif not turns or abs(value - turns[-1]) > smallest:
            turns.append(value)
    return turns


def reversals(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the first value, the last, and those between at which the history turns back.

    `turning_points` of them are those of all values: what lies between two of them only leads
    from one to the other, and what stays the same leads nowhere.
    """
    moves = np.ones(values.size, dtype=np.bool_)
    moves[1:] = np.diff(values) != 0
    moved: NDArray[np.float64] = values[moves]
    rising = np.diff(moved) > 0
    turns = np.ones(moved.size, dtype=np.bool_)
    turns[1:-1] = rising[:-1] != rising[1:]
    turned: NDArray[np.float64] = moved[turns]
    return turned


def rainflow(values: Sequence[float]) -> list[Cycle]:
    """Count the cycles of a history with the three-point rainflow rule.

    Returns
    -------
    list of Cycle
        In the order in which they close; what never closes is counted as halves at the end.

    Notes
    -----
    ASTM E1049-85 (reapproved 2017), §5.4.4. ``Σ range·count`` is half the sum of all steps.

    A range X between the last two turns is compared with the range Y before it. While X is at
    least Y, Y has closed: a full cycle, or a half one where it holds the history's start.
    """
    cycles: list[Cycle] = []
    stack: list[float] = []
    for turn in turning_points(values):
        stack.append(turn)
        while len(stack) >= 3 and abs(stack[-1] - stack[-2]) >= abs(stack[-2] - stack[-3]):
            if len(stack) == 3:
                cycles.append(_cycle(stack[0], stack[1], 0.5))
                del stack[0]
            else:
                cycles.append(_cycle(stack[-3], stack[-2], 1.0))
                del stack[-3:-1]
    cycles.extend(_cycle(a, b, 0.5) for a, b in pairwise(stack))
    return cycles


def depth_histogram(cycles: Sequence[Cycle], *, bins: int = 10) -> list[DepthBin]:
    """Return how many cycles went how deep; depths are ratios from 0 to 1.

    Raises
    ------
    ValueError
        If a depth is not a ratio.
    """
    counts = [0.0] * bins
    for cycle in cycles:
        depth = round(cycle.range, 9)  # 0.9 - 0.7 is 0.2, not 0.19999999999999996
        if not 0 <= depth <= 1:
            raise ValueError(f"a depth of {depth} is not a ratio")
        counts[min(int(depth * bins + 1e-9), bins - 1)] += cycle.count
    return [DepthBin(n / bins, (n + 1) / bins, count) for n, count in enumerate(counts)]


def _cycle(start: float, end: float, count: float) -> Cycle:
    return Cycle(abs(end - start), (start + end) / 2, count)
