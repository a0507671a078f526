"""The capacity that single nights imply, as an owner can follow it by hand.

Method `nights-1`, see ``docs/methods/nights.md``. What was drawn from full down to a known low
state, divided by the share of the battery that lies between the two. It is the audit trail of
the capacity that is stated, and knows less: each night stands alone.
"""

from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.battery.anchors import Measured
from joulebook.core.battery.rest_voltage import FULL_STATE
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import MS_PER_DAY, Floats, Instants

METHOD = "nights-1"

#: Share of what went in that never comes out, when the sensor's offset is read from closings.
LOST_SHARE = 0.002
#: Share of the capacity that a degree below 25 °C hides, at either end.
PER_COLD_C = 0.0025
#: Nights that end above this state are left out, unless most do: then the deeper 40 % are taken.
DEEP_ENOUGH = 0.12
_DEEPER_SHARE = 0.40
#: A quarter of a year needs so many nights.
LEAST_NIGHTS = 4
#: Standard uncertainties: the generic curve and the voltmeter [V a cell], the state called full,
#: the temperature's share per °C, the counted charge at both anchors [Ah], the sensor's gain.
_CURVE_V, _VOLTMETER_V, _FULL_U, _COLD_U, _ANCHOR_AH = 0.008, 0.002, 0.002, 0.0015, 0.3
GAIN_U = 0.0058
#: Nights of a quarter share most of what is wrong with them: no more than so many count as
#: independent.
_INDEPENDENT = 10
_LEAST_CLOSINGS = 5
_CLOSINGS_AROUND = 9
#: What the offset does between closings and nights. [A]
_DRIFT_U = 0.01
#: Of an offset that could not be read from closings. [A]
GUESSED_OFFSET_U = 0.17
#: A median is so much less sure than a mean, of normal errors.
_MEDIAN = 1.2533


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One full charge and what was drawn after it.

    Attributes
    ----------
    full_ms : int
        When the battery was last full. [ms, UTC epoch]
    low_ms : int or None
        When it was lowest and quiet. [ms, UTC epoch]
    drawn_ah : float
        Between them, the sensor's offset corrected; of a night that does not count, the most that
        was out. [Ah]
    correction_ah : float or None
        What of that is the correction. [Ah]
    cell_v, x_low, low_c : float or None
        Rest voltage of a cell at the lowest point [V], the state of charge that it means, and the
        temperature. [°C]
    implied_ah, low_ah, high_ah : float or None
        The capacity that this night alone implies, and its 90 % interval. [Ah]
    counts : bool
        Whether it is one of the nights that the medians are made of.
    reason : str
        Why it is not; empty where it is.
    """

    full_ms: int
    low_ms: int | None
    drawn_ah: float
    correction_ah: float | None = None
    cell_v: float | None = None
    x_low: float | None = None
    low_c: float | None = None
    implied_ah: float | None = None
    low_ah: float | None = None
    high_ah: float | None = None
    counts: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarter:
    """A quarter of a calendar year (UTC) and the median of its nights. [Ah]"""

    start_ms: int
    end_ms: int
    nights: int
    capacity: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class NightList:
    """Every night of a record, and the medians of quarters that had any that counts."""

    nights: tuple[Night, ...]
    quarters: tuple[Quarter, ...]


def night_list(measured: Measured) -> NightList:
    """Return every night of a record, in order, with what it implies or why it does not count."""
    low = measured.balances.full_to_low
    offset_a, offset_u = _offsets(measured, low.full_ms)
    correction = offset_a * low.hours
    drawn = low.drawn_ah + correction
    cold = np.maximum(25 - low.low_c, 0)
    share = FULL_STATE - low.x_low - PER_COLD_C * cold * (1 - low.x_low)
    implied = drawn / share
    state_u = np.hypot(np.hypot(_CURVE_V, _VOLTMETER_V) / low.slope_v, _FULL_U)
    half = K90 * np.sqrt(
        (implied / share) ** 2 * (state_u**2 + (_COLD_U * cold) ** 2)
        + (_ANCHOR_AH**2 + (offset_u * low.hours) ** 2) / share**2
        + (GAIN_U * implied) ** 2
    )
    deepest = _deep_enough(low.x_low)
    nights = [_without_anchor(measured, row) for row in range(len(measured.reasons))]
    for row, place in enumerate(np.flatnonzero([not why for why in measured.reasons])):
        counts = bool(low.x_low[row] <= deepest)
        nights[place] = replace(
            nights[place],
            drawn_ah=float(drawn[row]),
            correction_ah=float(correction[row]),
            implied_ah=float(implied[row]),
            low_ah=float(implied[row] - half[row]),
            high_ah=float(implied[row] + half[row]),
            counts=counts,
            reason=""
            if counts
            else f"it ended at {low.x_low[row]:.0%}; nights that went down to {deepest:.0%} "
            "tell more, and there are enough of them",
        )
    return NightList(nights=tuple(nights), quarters=_quarters(nights, low.x_low, low.slope_v))


def _deep_enough(x_low: Floats) -> float:
    return max(DEEP_ENOUGH, float(np.quantile(x_low, _DEEPER_SHARE))) if x_low.size else 0.0


def _without_anchor(measured: Measured, row: int) -> Night:
    """Return what is known of a night whatever its voltage says."""
    low = measured.low
    quiet = low.quiet[row] > 0
    return Night(
        full_ms=int(measured.full_ms[row]),
        low_ms=int(measured.low_ms[row]) if quiet else None,
        drawn_ah=float(low.most_ah[row]),
        cell_v=float(low.cell_v[row]) if quiet else None,
        x_low=float(measured.x_low[row]) if quiet else None,
        low_c=float(low.low_c[row]) if quiet else None,
        reason=measured.reasons[row],
    )


def _offsets(measured: Measured, at_ms: Instants) -> tuple[Floats, float]:
    """Return the sensor's offset at these instants, and its standard uncertainty. [A]

    The median of what seems to be gained over the nine closings around each: the offset drifts,
    and a season away it may be another.
    """
    closing = measured.balances.full_to_full
    if closing.hours.size < _LEAST_CLOSINGS:
        return np.full(at_ms.size, measured.offset_a), GUESSED_OFFSET_U
    gained = (closing.change_ah - LOST_SHARE * closing.charged_ah) / closing.hours
    width = min(_CLOSINGS_AROUND, gained.size)
    medians = np.median(np.lib.stride_tricks.sliding_window_view(gained, width), axis=1)

    def around(place: Instants) -> Floats:
        nearest: Floats = medians[np.clip(place - width // 2, 0, medians.size - 1)]
        return nearest

    left = gained - around(np.arange(gained.size))
    spread = 1.4826 * float(np.median(np.abs(left)))
    offset_u = float(np.hypot(_MEDIAN * spread / np.sqrt(width), _DRIFT_U))
    return around(np.searchsorted(closing.from_ms, at_ms)), offset_u


def _quarter(at_ms: Instants) -> Instants:
    """Return which quarter of a year each instant lies in, counted from 1970."""
    months = at_ms.astype("datetime64[ms]").astype("datetime64[M]").astype(np.int64)
    quarters: Instants = months // 3
    return quarters


def _quarters(nights: list[Night], x_low: Floats, slope_v: Floats) -> tuple[Quarter, ...]:
    """Return the medians of the quarters from the first to the last night that counts."""
    counting = [night for night in nights if night.counts and night.implied_ah is not None]
    if not counting:
        return ()
    implied = np.array([night.implied_ah for night in counting], dtype=np.float64)
    quarter_of = _quarter(np.array([night.full_ms for night in counting], dtype=np.int64))
    # What all nights share: the curve's error where the median night ends, and the gain.
    middle = int(np.argsort(x_low)[x_low.size // 2])
    shared = np.hypot(_CURVE_V / slope_v[middle] / (FULL_STATE - x_low[middle]), GAIN_U)
    return tuple(
        _one_quarter(int(quarter), implied[quarter_of == quarter], float(shared))
        for quarter in range(quarter_of.min(), quarter_of.max() + 1)
    )


def _one_quarter(quarter: int, implied: Floats, shared: float) -> Quarter:
    edges = (np.array([quarter, quarter + 1]) * 3).astype("datetime64[M]")
    start_ms, end_ms = (int(edge) for edge in edges.astype("datetime64[ms]").astype(np.int64))
    coverage = min(implied.size / ((end_ms - start_ms) / MS_PER_DAY), 1.0)
    if implied.size < LEAST_NIGHTS:
        capacity = refused(
            f"{implied.size} nights of this quarter went low enough, and {LEAST_NIGHTS} are needed",
            method=METHOD,
            coverage_ratio=coverage,
        )
    else:
        value = float(np.median(implied))
        half = K90 * float(np.hypot(_median_u(implied), shared * value))
        capacity = Estimate(
            value=value,
            low=value - half,
            high=value + half,
            coverage_ratio=coverage,
            method=METHOD,
        )
    return Quarter(start_ms=start_ms, end_ms=end_ms, nights=implied.size, capacity=capacity)


def _median_u(values: Floats) -> float:
    """Return the standard uncertainty of a median of values that are not quite independent."""
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    return _MEDIAN * spread / float(np.sqrt(min(values.size, _INDEPENDENT)))
