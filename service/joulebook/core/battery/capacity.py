"""What the battery holds, stated in ampere-hours with an interval, or the reason why not.

Method `capacity-1`, see ``docs/methods/capacity.md``.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.anchors import DEEP_STATE, LARGEST_SHIFT_V
from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.battery.capacity_knots import CAPACITY_KNOT_DAYS
from joulebook.core.battery.rest_voltage import slope_at
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import MS_PER_DAY, Floats, Instants

CAPACITY_METHOD = "capacity-1"

#: The current sensor's scale cannot be seen from the battery's own readings; assumed limit.
GAIN_LIMIT_RATIO = 0.01
#: What no fit sees: full is not always equally full, and the finer shape of a cell's curve: so
#: much voltage, that on a flat part of it is more charge. Our choice. [ratio], [V]
UNSEEN_U_RATIO, UNSEEN_U_V = 0.003, 0.0015
#: Of a capacity against an earlier one of the same pack most of that is the same.
UNSEEN_CHANGE_U_RATIO = 0.001

FEWEST_LOWS_EARLY, FEWEST_LOWS, FEWEST_DEEP = 8, 15, 3
FEWEST_CLOSINGS = 5
EARLY_DAYS = 183.0
#: Above this state of charge a low anchor tells too little; below `DEEP_STATE` it tells most.
HIGHEST_STATE = 0.16
LARGEST_SPREAD_V = 0.030
#: Where balances disagree by more than this of the rated charge, full is not always full.
LARGEST_MISFIT_RATIO = 0.014
FIRST_DAYS = 90.0
_WIDEST_RATIO = 0.06
_STALE_DAYS = 183.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacityPoint:
    """What the battery holds on one day.

    Attributes
    ----------
    at_ms : int
        [ms, UTC epoch]
    ah : Estimate
        All uncertainty in, the sensor's gain too. [Ah]
    sensor_ah : Estimate
        As this sensor counts: what may be compared with other days of the same sensor. [Ah]
    health : Estimate
        Of what the same battery held in its first 90 days of record. [ratio]
    """

    at_ms: int
    ah: Estimate
    sensor_ah: Estimate
    health: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacityStatement:
    """Capacity over the record and now.

    Attributes
    ----------
    points : tuple of CapacityPoint
        At the fit's dates that have low anchors near them; empty where nothing is stated.
    latest : CapacityPoint
        At the last low anchor, or refused.
    cautions : tuple of str
        Sentences to print beside the numbers.
    """

    points: tuple[CapacityPoint, ...]
    latest: CapacityPoint
    cautions: tuple[str, ...]


def capacity_statement(
    fit: CapacityFit, *, shift_v: float | None = None, spread_v: float | None = None
) -> CapacityStatement:
    """State what the battery held over its record, and what it holds now.

    Parameters
    ----------
    fit : CapacityFit
        Of the record.
    shift_v : float or None
        How much the charge voltage of a cell moved between the record's halves; ``None`` where
        that is not known. [V]
    spread_v : float or None
        Between the highest and the lowest cell, at full or at the low anchors; ``None`` where
        the battery does not tell. [V]
    """
    nothing = no_change_reason(fit, shift_v=shift_v)
    absolute = nothing or _no_absolute_reason(fit)
    lows_ms = fit.low_ms
    near = np.array([], dtype=np.int64)
    if nothing is None:
        away = np.min(np.abs(fit.knots_ms[:, None] - lows_ms[None, :]), axis=1)
        told = (away <= CAPACITY_KNOT_DAYS * MS_PER_DAY) & (fit.knots_ms <= fit.end_ms)
        near = fit.knots_ms[told]
    last_ms = int(lows_ms[-1]) if lows_ms.size else fit.end_ms
    old_days = (fit.end_ms - last_ms) / MS_PER_DAY
    stale = (
        f"the last low anchor is {old_days:.0f} days old; lower the reserve for a few nights to "
        "measure again"
        if old_days > _STALE_DAYS
        else None
    )
    cautions = [
        f"The current sensor may count all charge up to {GAIN_LIMIT_RATIO:.0%} too high or too "
        "low; the battery's own readings cannot tell. Health and fade do not suffer from it."
    ]
    if spread_v is not None and spread_v > LARGEST_SPREAD_V:
        cautions.append(
            f"The cells differ by {spread_v * 1000:.0f} mV at the ends: this is what the weakest "
            "cell lets the battery give."
        )
    return CapacityStatement(
        points=tuple(_points(fit, near, absolute, nothing)),
        latest=_points(fit, np.array([last_ms]), absolute or stale, nothing or stale)[0],
        cautions=tuple(cautions),
    )


def no_change_reason(fit: CapacityFit, *, shift_v: float | None) -> str | None:
    """Return why not even a change of the capacity is stated, or ``None``."""
    lows, deep = fit.low_ms.size, int(np.count_nonzero(fit.low_states < DEEP_STATE))
    early = fit.end_ms - fit.knots_ms[0] <= EARLY_DAYS * MS_PER_DAY
    fewest = FEWEST_LOWS_EARLY if early else FEWEST_LOWS
    closings = int(np.count_nonzero(fit.rows.anchor < 0))
    if lows < fewest and deep < FEWEST_DEEP:
        return (
            f"the voltage told a low state of charge {lows} times, and {fewest} are needed, or "
            f"{FEWEST_DEEP} below {DEEP_STATE:.0%}; a reserve of 12 % or less, or a few deep "
            "discharges, will do it"
        )
    if closings < FEWEST_CLOSINGS:
        return (
            f"the battery was full twice in a row without a break {closings} times; "
            f"{FEWEST_CLOSINGS} are needed to know the current sensor's zero"
        )
    if shift_v is not None and abs(shift_v) > LARGEST_SHIFT_V:
        return (
            f"the charge voltage was moved by {abs(shift_v) * 1000:.0f} mV a cell: full does not "
            "mean the same before and after"
        )
    if fit.misfit_ratio > LARGEST_MISFIT_RATIO:
        return (
            f"what was counted from full to low differs from night to night by "
            f"{fit.misfit_ratio:.1%} of the rated charge: the battery is hardly ever truly full, "
            "or the current is not measured well"
        )
    return None


def _no_absolute_reason(fit: CapacityFit) -> str | None:
    middle = float(np.median(fit.low_states))
    deep = int(np.count_nonzero(fit.low_states < DEEP_STATE))
    if middle > HIGHEST_STATE and deep < FEWEST_DEEP:
        return (
            f"the battery was at {middle:.0%} or more at half of its low points, where the "
            f"voltage hardly tells the state of charge; {HIGHEST_STATE:.0%} or less is needed"
        )
    return None


def _points(
    fit: CapacityFit, at_ms: Instants, no_absolute: str | None, no_change: str | None
) -> list[CapacityPoint]:
    held, held_u = fit.capacity_at(at_ms)
    health, health_u = against_first(fit, at_ms)
    sensor_u = np.hypot(held_u, _unseen_u_ratio(fit) * held)
    all_u = np.hypot(sensor_u, GAIN_LIMIT_RATIO / math.sqrt(3) * held)
    change_u = np.hypot(health_u, UNSEEN_CHANGE_U_RATIO)
    shared = coverage(fit)
    return [
        CapacityPoint(
            at_ms=int(at),
            ah=_estimate(held[row], all_u[row], no_absolute, shared),
            sensor_ah=_estimate(held[row], sensor_u[row], no_absolute, shared),
            health=_estimate(health[row], change_u[row], no_change, shared),
        )
        for row, at in enumerate(at_ms)
    ]


def _unseen_u_ratio(fit: CapacityFit) -> float:
    """Return the part of the uncertainty that the fit does not know of. [ratio]"""
    if not fit.low_states.size:
        return UNSEEN_U_RATIO
    slope_v = float(slope_at(np.median(fit.low_states, keepdims=True))[0])
    return math.hypot(UNSEEN_U_RATIO, UNSEEN_U_V / slope_v)


def against_first(fit: CapacityFit, at_ms: Instants) -> tuple[Floats, Floats]:
    """Return the capacity over that of the first 90 days, shape (m,), and its uncertainty."""
    first_ms = fit.knots_ms[0] + np.linspace(0, FIRST_DAYS * MS_PER_DAY, 31).astype(np.int64)
    before = fit.shares(np.minimum(first_ms, fit.end_ms)).mean(axis=0)
    shares = fit.shares(at_ms)
    first_ah = before @ fit.capacity_ah
    ratio = shares @ fit.capacity_ah / first_ah
    slopes = (shares - ratio[:, None] * before) / first_ah
    variance = np.einsum("ij,jk,ik->i", slopes, fit.capacity_covariance, slopes)
    return ratio, np.sqrt(variance)


def coverage(fit: CapacityFit) -> float:
    """Return the share of the record's 60-day stretches that hold a low anchor."""
    edges = np.append(fit.knots_ms[:-1], fit.end_ms)
    held, _ = np.histogram(fit.low_ms, edges)
    return float(np.mean(held > 0))


def _estimate(value: float, value_u: float, reason: str | None, shared: float) -> Estimate:
    half = K90 * value_u
    if reason is None and half > _WIDEST_RATIO * value:
        reason = (
            f"it would be uncertain by ±{half / value:.0%}; more or lower low points make it better"
        )
    if reason is not None:
        return refused(reason, method=CAPACITY_METHOD, coverage_ratio=shared)
    return Estimate(
        value=float(value),
        low=float(value - half),
        high=float(value + half),
        coverage_ratio=shared,
        method=CAPACITY_METHOD,
    )
