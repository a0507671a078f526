"""How fast the battery fades, and how much it has lost since the record began.

Method `fade-1`, see ``docs/methods/fade.md``.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.capacity import coverage, no_change_reason
from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants

FADE_METHOD = "fade-1"

#: By how much the fit's own uncertainty of a slope is too small: early, and later.
EARLY_INFLATION, LATE_INFLATION = 1.6, 1.4
_EARLY_YEARS = 1.5
#: What no fit sees [ratio per year]; and of the very first weeks, in which most may go. [ratio]
_UNSEEN_U_PER_YEAR, _UNSEEN_U = 0.0005, 0.003

_SHORTEST_YEARS, _POINT_YEARS = 0.5, 0.98
#: So far from the ends of the record a low anchor still stands for them.
_NEAR_END_DAYS = 45.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fade:
    """Loss of capacity over the record; losses are above zero.

    Attributes
    ----------
    per_year : Estimate
        Slope of the straight line through the capacity, over what it was at the start. From six
        to twelve months only its interval is given. [ratio per year]
    since_start : Estimate
        What has been lost between the ends of the record. [ratio]
    from_ms, to_ms : int
        What counts as the record: without stretches at its ends that tell nothing of the
        capacity. [ms, UTC epoch]
    sentence : str
        For a person.
    """

    per_year: Estimate
    since_start: Estimate
    from_ms: int
    to_ms: int
    sentence: str


def fade(fit: CapacityFit, *, shift_v: float | None = None, why_not: str | None = None) -> Fade:
    """State the fade of a record.

    Parameters
    ----------
    fit : CapacityFit
        Of the record.
    shift_v : float or None
        How much the charge voltage of a cell moved between the record's halves. [V]
    why_not : str, optional
        What else speaks against a straight line.
    """
    from_ms, to_ms = _ends(fit)
    years = (to_ms - from_ms) / (MS_PER_DAY * DAYS_PER_YEAR)
    reason = why_not or no_change_reason(fit, shift_v=shift_v)
    if reason is None and years < _SHORTEST_YEARS:
        reason = (
            f"the low points span {years * 12:.1f} months; before six, the seasons hide what is "
            "lost for good"
        )
    if reason is not None:
        none = refused(reason, method=FADE_METHOD, coverage_ratio=coverage(fit))
        return Fade(per_year=none, since_start=none, from_ms=from_ms, to_ms=to_ms, sentence=reason)
    slope, slope_u = _slope(fit, from_ms, to_ms)
    lost, lost_u = _lost(fit, from_ms, to_ms)
    inflation = EARLY_INFLATION if years < _EARLY_YEARS else LATE_INFLATION
    slope_u = math.hypot(inflation * slope_u, _UNSEEN_U_PER_YEAR)
    lost_u = math.hypot(inflation * lost_u, _UNSEEN_U)
    early = (
        "after less than a year season and fade cannot be told apart: only the interval is given"
        if years < _POINT_YEARS
        else None
    )
    return Fade(
        per_year=_estimate(slope, slope_u, early, fit),
        since_start=_estimate(lost, lost_u, early, fit),
        from_ms=from_ms,
        to_ms=to_ms,
        sentence=_sentence(slope, K90 * slope_u, early=early is not None),
    )


def _ends(fit: CapacityFit) -> tuple[int, int]:
    """Return from where to where the low anchors tell of the capacity."""
    start_ms, end_ms = int(fit.knots_ms[0]), fit.end_ms
    if not fit.low_ms.size:
        return start_ms, start_ms
    near_ms = _NEAR_END_DAYS * MS_PER_DAY
    first_ms, last_ms = int(fit.low_ms[0]), int(fit.low_ms[-1])
    return (
        start_ms if first_ms - start_ms <= near_ms else first_ms,
        end_ms if end_ms - last_ms <= near_ms else last_ms,
    )


def _slope(fit: CapacityFit, from_ms: int, to_ms: int) -> tuple[float, float]:
    """Return the line's loss a year over the capacity at its start, and its raw uncertainty."""
    at_ms = np.linspace(from_ms, to_ms, 201).astype(np.int64)
    years = (at_ms - at_ms[0]) / (MS_PER_DAY * DAYS_PER_YEAR)
    apart = years - years.mean()
    slope = -(apart / np.sum(apart**2)) @ fit.shares(at_ms)
    return _over_start(fit, slope, fit.shares(at_ms[:1])[0])


def _lost(fit: CapacityFit, from_ms: int, to_ms: int) -> tuple[float, float]:
    """Return the loss between the ends over the capacity at the first, and its uncertainty."""
    ends: Instants = np.array([from_ms, to_ms])
    first, last = fit.shares(ends)
    return _over_start(fit, first - last, first)


def _over_start(fit: CapacityFit, change: Floats, start: Floats) -> tuple[float, float]:
    start_ah = float(start @ fit.capacity_ah)
    ratio = float(change @ fit.capacity_ah) / start_ah
    slopes = (change - ratio * start) / start_ah
    own = fit.unknowns.capacity
    return ratio, math.sqrt(float(slopes @ fit.covariance[own, own] @ slopes))


def _estimate(value: float, value_u: float, reason: str | None, fit: CapacityFit) -> Estimate:
    half = K90 * value_u
    return Estimate(
        value=None if reason else value,
        low=value - half,
        high=value + half,
        coverage_ratio=coverage(fit),
        method=FADE_METHOD,
        reason=reason,
    )


def _sentence(slope: float, half: float, *, early: bool) -> str:
    low, high = (slope - half) * 100, (slope + half) * 100
    if early:
        return f"It loses between {low:.1f} and {high:.1f} % a year; too early for one number."
    if abs(slope) < half:
        return f"No measurable fade: between {low:.1f} and {high:.1f} % a year."
    word = "loses" if slope > 0 else "seems to gain"
    return f"It {word} {abs(slope) * 100:.1f} % a year, ±{half * 100:.1f}."
