"""What the current sensor reads while the battery rests: its zero, seen directly.

Between full charges many a battery rests for hours: at its reserve while the grid feeds the house,
or full and switched off. What is read then is the sensor's offset, where it is steady and close to
what the charge balance says; a standby draw of the inverter lies further off.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import FullToFull
from joulebook.core.history import MS_PER_HOUR, Floats, Instants, PackHistory
from joulebook.core.spans import Span

#: Rest is told by half hours; fewer of them in a window say nothing (our choices).
BLOCK_MS = 1_800_000
FEWEST_BLOCKS = 20

_NEAR_A = 0.15  # to what the charge balance says; any further off is a standby draw
_HELD_CELL_V = 3.37
_AFTER_FULL_MS = 3_600_000  # the last of the charge may still flow
_QUIETEST_SHARE = 0.02  # of the half hours shows what the sensor's noise is
_NOISE_TIMES = 3.0
_LEAST_NOISE_A = 0.1
_LEAST_READINGS = 4
_BLOCKS_OF_A_REST = 4  # half hours of one rest share their error
_MEDIAN_U = 1.4826 * 1.2533  # of a median, from the median deviation
_ROWS_FOR_STEP = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RestBlocks:
    """Half hours of rest; arrays of equal length in order of time.

    Attributes
    ----------
    at_ms : int64 (n,)
        Where they begin. [ms, UTC epoch]
    current_a, spread_a : float64 (n,)
        Mean and standard deviation of what was read. [A]
    step_a : float
        The smallest step of the sensor's readings. [A]
    """

    at_ms: Instants
    current_a: Floats
    spread_a: Floats
    step_a: float

    def hours(self, span: Span) -> float:
        """Return how long the battery was seen at rest in a span. [h]"""
        return int(np.count_nonzero(self._inside(span))) * BLOCK_MS / MS_PER_HOUR

    def _inside(self, span: Span) -> NDArray[np.bool_]:
        inside: NDArray[np.bool_] = (self.at_ms >= span.start_ms) & (self.at_ms < span.end_ms)
        return inside

    def zero(self, span: Span) -> tuple[float, float] | None:
        """Return the zero seen in a span and its standard uncertainty; ``None`` with too few. [A]

        Notes
        -----
        Of a sensor with step q and noise s, a mean is off by up to ``q/π · exp(-2π² (s/q)²)``: a
        tenth of an ampere without noise by 0.03 A, with 0.03 A of noise by 0.005 A.
        """
        inside = self._inside(span)
        blocks = int(np.count_nonzero(inside))
        if blocks < FEWEST_BLOCKS:
            return None
        current = self.current_a[inside]
        zero = float(np.median(current))
        off = float(np.median(np.abs(current - zero)))
        noise = float(np.median(self.spread_a[inside])) / max(self.step_a, 1e-9)
        stepped = self.step_a / math.pi * math.exp(-2 * (math.pi * noise) ** 2)
        u = _MEDIAN_U * off / math.sqrt(blocks / _BLOCKS_OF_A_REST)
        return zero, math.hypot(u, stepped / math.sqrt(2))


def rest_blocks(
    history: PackHistory, between: FullToFull, offset_at: Callable[[Instants], Floats]
) -> RestBlocks:
    """Return the half hours between full charges in which the battery rests.

    Parameters
    ----------
    history, between : PackHistory, FullToFull
        The record, and its segments from full to full.
    offset_at : callable
        What the charge balance says of the sensor's offset, at instants. [A]
    """
    amps = history.current_a
    # While the voltage is held, a trickle may still flow.
    below = history.voltage_v < _HELD_CELL_V * history.cells
    rows = np.flatnonzero(_within(history.at_ms, between) & below & ~np.isnan(amps))
    block = history.at_ms[rows] // BLOCK_MS
    begins = np.flatnonzero(np.diff(block, prepend=-1))
    if not begins.size:
        nothing = np.empty(0)
        return RestBlocks(
            at_ms=np.empty(0, dtype=np.int64), current_a=nothing, spread_a=nothing, step_a=0.0
        )
    at_ms = block[begins] * BLOCK_MS
    # Around the offset, so that squares lose no digits.
    near = amps[rows] - np.repeat(offset_at(at_ms), np.diff(np.append(begins, rows.size)))
    count = np.diff(np.append(begins, rows.size))
    mean = np.add.reduceat(near, begins) / count
    square = np.add.reduceat(near * near, begins) / count
    spread = np.sqrt(np.maximum(square - mean * mean, 0.0))
    whole = count >= max(_LEAST_READINGS, BLOCK_MS / 2000 / history.step_s)
    quiet = float(np.quantile(spread[whole], _QUIETEST_SHARE)) if whole.any() else 0.0
    steady = spread <= max(_NOISE_TIMES * quiet, _LEAST_NOISE_A)
    rest = whole & steady & (np.abs(mean) < _NEAR_A)
    return RestBlocks(
        at_ms=at_ms[rest],
        current_a=mean[rest] + offset_at(at_ms[rest]),
        spread_a=spread[rest],
        step_a=_step_a(amps[rows[:_ROWS_FOR_STEP]]),
    )


def _within(at_ms: Instants, between: FullToFull) -> NDArray[np.bool_]:
    """Return which rows lie in a segment, an hour after its start at the earliest."""
    first = np.searchsorted(at_ms, between.from_ms + _AFTER_FULL_MS)
    last = np.maximum(np.searchsorted(at_ms, between.to_ms), first)
    edges = np.zeros(at_ms.size + 1, dtype=np.int64)
    np.add.at(edges, first, 1)
    np.add.at(edges, last, -1)
    return np.cumsum(edges)[:-1] > 0


def _step_a(amps: Floats) -> float:
    """Return the smallest difference of two readings. [A]"""
    steps = np.diff(np.unique(amps))
    steps = steps[steps > 1e-6]  # not the last binary digit
    return float(steps.min(initial=_NEAR_A))
