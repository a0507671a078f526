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
    positive_h, negative_h : float
        How long the curve lay above and below zero. [h]
    covered_s : float
        Measured time. [s]
    coverage_ratio : float
        Measured share of the span; 1 for a span without length, of which nothing is missing.
    """

    positive: float | None
    negative: float | None
    positive_u: float
    negative_u: float
    positive_h: float
    negative_h: float
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
    step = np.where(part.joined, np.diff(part.at_ms), 0)
    v0, v1 = part.value[:-1], part.value[1:]
    above, below = _halves(v0, v1)
    positive_u, negative_u = _sampling_u(part, above, below)
    positive_h, negative_h = _hours_by_sign(v0, v1, step)
    covered_h = float(np.sum(step)) / _MS_PER_HOUR
    length_h = span.length_s / 3600
    nothing = covered_h == 0 and length_h > 0
    return Integral(
        positive=None if nothing else _sum(above, step),
        negative=None if nothing else _sum(below, step),
        positive_u=positive_u,
        negative_u=negative_u,
        positive_h=positive_h,
        negative_h=negative_h,
        covered_s=covered_h * 3600,
        coverage_ratio=min(covered_h / length_h, 1.0) if length_h else 1.0,
    )


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


def _halves(
    v0: NDArray[np.float64], v1: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return twice the mean height above and below zero of the lines from v0 to v1."""
    above, below = np.maximum(v0, 0) + np.maximum(v1, 0), -np.minimum(v0, 0) - np.minimum(v1, 0)
    crossing = np.flatnonzero((above > 0) & (below > 0))
    if crossing.size:
        up, down = above[crossing], below[crossing]
        above[crossing], below[crossing] = up * up / (up + down), down * down / (up + down)
    return above, below


def _sum(doubled: NDArray[np.float64], step: NDArray[np.int64]) -> float:
    # Milliseconds are summed before they become hours: whole numbers stay exact.
    return float(np.sum(doubled * step)) / (2 * _MS_PER_HOUR)


def _sampling_u(
    part: Curve, above: NDArray[np.float64], below: NDArray[np.float64]
) -> tuple[float, float]:
    """Estimate what was missed between readings: leave out every reading once and compare.

    For a smooth curve a third of the change is the error that remains (Richardson), and the
    changes add up. For a switch at an unknown instant between two readings, the mean square of
    the change is three times that of the error, and the changes are independent. Both are
    added. Each reading is left out in turn, where halving the step leaves out every second:
    hence the factor one half.
    """
    pairs = part.joined[:-1] & part.joined[1:]
    if not pairs.any():
        return 0.0, 0.0
    step = np.diff(part.at_ms)
    results = []
    for fine, coarse in zip((above, below), _halves(part.value[:-2], part.value[2:]), strict=True):
        twice = fine * step
        change = np.where(pairs, twice[:-1] + twice[1:] - coarse * (step[:-1] + step[1:]), 0.0)
        change /= 2 * _MS_PER_HOUR
        independent, smooth = float(np.sum(change**2)) / 6, float(np.sum(change)) / 6
        results.append(math.hypot(math.sqrt(independent), smooth))
    return results[0], results[1]


def _hours_by_sign(
    v0: NDArray[np.float64], v1: NDArray[np.float64], step: NDArray[np.int64]
) -> tuple[float, float]:
    """Return how long the lines ran above and below zero. [h]"""
    size = np.abs(v0) + np.abs(v1)
    moving = np.flatnonzero(size)
    up = (np.maximum(v0, 0) + np.maximum(v1, 0))[moving] / size[moving]
    hours = step[moving] / _MS_PER_HOUR
    return float(np.sum(up * hours)), float(np.sum((1 - up) * hours))
