"""Energy and charge: the integral of a curve over a span, split by sign.

Method `trapezoid-1`, see ``docs/methods/trapezoid.md``. Watts give watt-hours, amperes give
ampere-hours; the functions do not care which.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import Curve, clipped, curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span

METHOD = "trapezoid-1"

#: Assumed limit of a meter's error, uniform within it: no owner's manual was read. [of reading]
METER_LIMIT_RATIO = 0.01
#: Standard uncertainties that make a 90 % interval of a normal error.
K90 = 1.6449

_MS_PER_HOUR = 3_600_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Integral:
    """The integral of a curve over a span, both signs apart, in value-hours.

    Attributes
    ----------
    positive, negative : float or None
        What lay above and below zero, both counted up; ``None`` where nothing was measured.
    positive_u, negative_u : float
        Standard uncertainty from reading only now and then, by halving the step.
    covered_s : float
        Measured time. [s]
    coverage_ratio : float
        Measured share of the span; 1 for a span without length, of which nothing is missing.
    """

    positive: float | None
    negative: float | None
    positive_u: float
    negative_u: float
    covered_s: float
    coverage_ratio: float

    @property
    def net(self) -> float | None:
        """Positive less negative."""
        if self.positive is None or self.negative is None:
            return None
        return self.positive - self.negative


def integrate(
    at_ms: NDArray[np.int64],
    value: NDArray[np.float64],
    *,
    span: Span,
    max_gap_s: float | None = None,
) -> Integral:
    """Integrate readings over a span; see `curve` for the parameters and `integrate_curve`."""
    return integrate_curve(curve(at_ms, value, max_gap_s=max_gap_s), span)


def integrate_curve(line: Curve, span: Span) -> Integral:
    """Integrate a curve over a half-open span by trapezoids, cut where the sign changes.

    A line that crosses the span's edge counts with the part inside. Holes count as not
    measured: nothing is guessed for them.

    Notes
    -----
    A line from ``a`` above zero to ``-b`` below it in ``h`` hours holds ``h·a²/(2(a + b))``
    above and ``h·b²/(2(a + b))`` below. Clipping the readings at zero first would give
    ``h·a/2`` and ``h·b/2``, which is too much on both sides.
    """
    part = clipped(line, span)
    step, held = _steps(part)
    fine, coarse = _cut(_sides(part.value, 1)), _cut(_sides(part.value, 2))
    positive_u, negative_u = _sampling_u(part.joined, step, fine, coarse)
    covered_h = float(held.sum()) / _MS_PER_HOUR
    length_h = span.length_s / 3600
    nothing = covered_h == 0 and length_h > 0
    return Integral(
        positive=None if nothing else _sum(fine.above, held),
        negative=None if nothing else _sum(fine.below, held),
        positive_u=positive_u,
        negative_u=negative_u,
        covered_s=covered_h * 3600,
        coverage_ratio=min(covered_h / length_h, 1.0) if length_h else 1.0,
    )


def hours_by_sign(line: Curve, span: Span) -> tuple[float, float]:
    """Return how long a curve ran above and below zero inside a span. [h]"""
    part = clipped(line, span)
    _, held = _steps(part)
    sides, hours = _sides(part.value, 1), held / _MS_PER_HOUR
    if sides.below is None:
        return _hours_where(sides.above, hours), 0.0
    if sides.above is None:
        return 0.0, _hours_where(sides.below, hours)
    size = sides.above + sides.below
    moving = np.flatnonzero(size)
    up, hours = sides.above[moving] / size[moving], hours[moving]
    return float(np.sum(up * hours)), float(np.sum((1 - up) * hours))


def mean_over_time(line: Curve, span: Span) -> tuple[float | None, float]:
    """Return the mean of a curve over the measured part of a span, and its coverage ratio."""
    part = clipped(line, span)
    _, held = _steps(part)
    covered_h, length_h = float(held.sum()) / _MS_PER_HOUR, span.length_s / 3600
    coverage_ratio = min(covered_h / length_h, 1.0) if length_h else 1.0
    if not covered_h:
        return None, coverage_ratio
    sides = _cut(_sides(part.value, 1))
    net = _sum(sides.above, held) - _sum(sides.below, held)
    return net / (covered_h * 3600) * 3600, coverage_ratio


def amount_estimate(
    amount: float | None, sampling_u: float, *, coverage_ratio: float, reason: str
) -> Estimate:
    """Return a measured energy or charge with its 90 % interval.

    The interval combines the meter's assumed limit (±1 % of the reading, uniform, so ``/√3``)
    and the sampling error, and speaks only of the time that was measured.

    Parameters
    ----------
    amount : float or None
        Energy or charge; ``None`` refuses with ``reason``. [Wh or Ah]
    sampling_u : float
        Standard uncertainty from sampling, in the same unit.
    """
    if amount is None:
        return refused(reason, method=METHOD, coverage_ratio=coverage_ratio)
    half = K90 * math.hypot(METER_LIMIT_RATIO * amount / math.sqrt(3), sampling_u)
    return Estimate(
        value=amount,
        low=max(amount - half, 0.0),
        high=amount + half,
        coverage_ratio=coverage_ratio,
        method=METHOD,
    )


def _steps(part: Curve) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the steps between readings, and those that lines hold: 0 in a hole. [ms]"""
    # As floats from the start: an operation that converts on the way takes eight times as long.
    step = (part.at_ms[1:] - part.at_ms[:-1]).astype(np.float64)
    return step, step if part.joined.all() else np.where(part.joined, step, 0.0)


@dataclass(frozen=True, slots=True)
class _Sides:
    """Twice the mean height of lines above and below zero; ``None`` where no line is there.

    Most powers only ever have one sign, and cost half.
    """

    above: NDArray[np.float64] | None
    below: NDArray[np.float64] | None


def _sides(value: NDArray[np.float64], lag: int) -> _Sides:
    """Return the lines from each reading to the one ``lag`` later, readings clipped at zero."""
    if value.min(initial=0.0) >= 0:
        return _Sides(value[:-lag] + value[lag:], None)
    if value.max(initial=0.0) <= 0:
        return _Sides(None, -value[:-lag] - value[lag:])
    over, under = np.maximum(value, 0), np.minimum(value, 0)
    return _Sides(over[:-lag] + over[lag:], -under[:-lag] - under[lag:])


def _cut(sides: _Sides) -> _Sides:
    """Return the heights of lines that are cut where they cross zero."""
    if sides.above is None or sides.below is None:
        return sides
    crossing = np.flatnonzero((sides.above > 0) & (sides.below > 0))
    up, down = sides.above[crossing], sides.below[crossing]
    above, below = sides.above.copy(), sides.below.copy()
    above[crossing], below[crossing] = up * up / (up + down), down * down / (up + down)
    return _Sides(above, below)


def _sum(doubled: NDArray[np.float64] | None, held: NDArray[np.float64]) -> float:
    # Milliseconds are summed before they become hours: whole numbers stay exact.
    return 0.0 if doubled is None else float((doubled * held).sum()) / (2 * _MS_PER_HOUR)


def _sampling_u(
    joined: NDArray[np.bool_], step: NDArray[np.float64], fine: _Sides, coarse: _Sides
) -> tuple[float, float]:
    """Estimate what was missed between readings: leave out every reading once and compare.

    For a smooth curve a third of the change is the error that remains (Richardson), and the
    changes add up. For a switch at an unknown instant between two readings, the mean square of
    the change is three times that of the error, and the changes are independent. Both are
    added. Each reading is left out in turn, where halving the step leaves out every second:
    hence the factor one half.
    """
    if joined.size < 2:
        return 0.0, 0.0
    apart = None  # as a rule: no hole
    if not joined.all():
        apart = ~(joined[:-1] & joined[1:])
        if apart.all():
            return 0.0, 0.0
    both = step[:-1] + step[1:]
    above, below = (
        _side_u(near, wide, step, both, apart)
        for near, wide in ((fine.above, coarse.above), (fine.below, coarse.below))
    )
    return above, below


def _side_u(
    near: NDArray[np.float64] | None,
    wide: NDArray[np.float64] | None,
    step: NDArray[np.float64],
    both: NDArray[np.float64],
    apart: NDArray[np.bool_] | None,
) -> float:
    """Return the sampling uncertainty of one side, from its lines and those twice as long."""
    if near is None or wide is None:
        return 0.0
    twice = near * step
    change = twice[:-1] + twice[1:]
    np.multiply(wide, both, out=twice[:-1])
    change -= twice[:-1]
    if apart is not None:
        change[apart] = 0.0
    smooth = float(change.sum()) / (2 * _MS_PER_HOUR) / 6
    change *= change
    return math.hypot(math.sqrt(float(change.sum()) / 6) / (2 * _MS_PER_HOUR), smooth)


def _hours_where(height: NDArray[np.float64] | None, hours: NDArray[np.float64]) -> float:
    return 0.0 if height is None else float(np.sum(hours[np.flatnonzero(height)]))
