"""What a guided deep-discharge test says of the capacity, or why it does not count.

Method `deep-test-1`, see ``docs/methods/deep-test.md``. Charge is counted from full down to a
state that the voltage tells, and back to full: taken together, the two do not depend on the
zero of the current sensor.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.anchors import Measured
from joulebook.core.battery.deep_test_plan import COLDEST_C, WARMEST_C, Target
from joulebook.core.battery.nights import GAIN_U, LOST_SHARE, night_list
from joulebook.core.battery.rest_voltage import FULL_STATE
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import MS_PER_HOUR, PackHistory

METHOD = "deep-test-1"

#: A battery that was full so long before the test began was full at its start. [h]
GRACE_H = 12.0
#: At least this share of the time from full to low has to be measured.
LEAST_COVERAGE = 0.98
#: No more may go in on the way down; of the rated charge.
MOST_CHARGED_SHARE = 0.05
#: The sensor's zero is known from so many closings from full to full, where the way back is not.
LEAST_CLOSINGS = 5
#: Share of the capacity that a degree below 25 °C hides.
PER_COLD_C = 0.0025
#: Standard uncertainties: generic curve and voltmeter [V a cell], the state called full, the
#: temperature's share per °C, what is lost of the charge put in, the counted charge. [Ah]
_CELL_U, _FULL_U, _COLD_U, _LOST_U, _ANCHOR_AH = 0.0082, 0.002, 0.0015, 0.0015, 0.3

Verdict = Literal["counts", "does not count"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DeepTestResult:
    """What came of a test.

    Attributes
    ----------
    verdict : Verdict
    reasons : tuple of str
        Sentences: why it does not count; empty where it does.
    capacity : Estimate
        Of the whole battery [Ah], or the refusal.
    full_ms, low_ms, returned_ms : int or None
        End of the full charge, the low anchor, and the start of the next full charge.
        [ms, UTC epoch]
    drawn_ah, returned_ah : float or None
        What the sensor counted out until then, and in again. [Ah]
    offset_a : float or None
        What it then reads too much, by the two. [A]
    cell_v, x_low, low_c, current_a : float or None
        At the low anchor: a cell's rest voltage [V], the state of charge it means, temperature
        [°C], current. [A]
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    capacity: Estimate
    full_ms: int | None = None
    low_ms: int | None = None
    returned_ms: int | None = None
    drawn_ah: float | None = None
    returned_ah: float | None = None
    offset_a: float | None = None
    cell_v: float | None = None
    x_low: float | None = None
    low_c: float | None = None
    current_a: float | None = None


def attempts(measured: Measured, started_ms: int, ended_ms: int | None) -> NDArray[np.int64]:
    """Return which full charges of a record the test can be counted from, shape (k,).

    Those that ended while it ran or shortly before it began, and were drawn low while it ran.
    """
    until_ms = np.inf if ended_ms is None else ended_ms
    never_low = measured.low_ms == measured.full_ms
    during = (measured.low_ms >= started_ms) & (measured.low_ms < until_ms)
    near = (measured.full_ms >= started_ms - GRACE_H * MS_PER_HOUR) & (measured.full_ms < until_ms)
    return np.flatnonzero(near & (during | never_low)).astype(np.int64)


def deepest_first(measured: Measured, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return these full charges by how low they were drawn: anchors before all others."""
    anchor = np.array([not measured.reasons[row] for row in rows], dtype=np.bool_)
    state = np.nan_to_num(measured.x_low[rows], nan=1.0)
    # Where nothing was low yet all are alike, and the last one is the one that runs.
    return rows[np.lexsort((-rows, state, ~anchor))]


def result_of(
    history: PackHistory, measured: Measured, target: Target, *, started_ms: int, ended_ms: int
) -> DeepTestResult:
    """Return what came of a test: of its nights, the deepest one that counts.

    Parameters
    ----------
    history, measured : PackHistory, Measured
        Of some weeks before the test, for the charge voltage and the resistance, up to the full
        charge after it.
    target : Target
        What was planned.
    started_ms, ended_ms : int
        When the owner said that it began, and ended. [ms, UTC epoch]
    """
    nights = [
        _night(history, measured, target, int(row))
        for row in deepest_first(measured, attempts(measured, started_ms, ended_ms))
    ]
    if not nights:
        why = "the battery was not full at the beginning: nothing to count from"
        return _not_counting((why, *measured.flags))
    return next((night for night in nights if night.verdict == "counts"), nights[0])


def _night(history: PackHistory, measured: Measured, target: Target, row: int) -> DeepTestResult:
    """Return what one night of a test says."""
    if measured.reasons[row]:
        # Where readings broke off, how low it came until then is not what matters.
        broken = bool(measured.low.broken[row])
        why = "the readings broke off on the way down" if broken else measured.reasons[row]
        return _not_counting((why,), full_ms=int(measured.full_ms[row]))
    return _counted(history, measured, target, row)


def _not_counting(reasons: tuple[str, ...], *, full_ms: int | None = None) -> DeepTestResult:
    return DeepTestResult(
        verdict="does not count",
        reasons=reasons,
        capacity=refused("; ".join(reasons), method=METHOD),
        full_ms=full_ms,
    )


def _counted(history: PackHistory, measured: Measured, target: Target, row: int) -> DeepTestResult:
    """Return the result of a night that has a low anchor."""
    night = sum(not why for why in measured.reasons[:row])
    down, back = measured.balances.full_to_low, measured.balances.low_to_full
    way_back = np.flatnonzero(back.low == night)
    place = int(way_back[0]) if way_back.size else None
    coverage = _coverage(history, int(down.full_ms[night]), int(down.low_ms[night]))
    reasons = _reasons(history, measured, target, night, place, coverage)
    if reasons:
        capacity = refused("; ".join(reasons), method=METHOD, coverage_ratio=coverage)
    elif place is None:
        capacity = _one_way(measured, row, coverage)
    else:
        capacity = _both_ways(measured, night, place, coverage)
    return DeepTestResult(
        verdict="does not count" if reasons else "counts",
        reasons=reasons,
        capacity=capacity,
        full_ms=int(down.full_ms[night]),
        low_ms=int(down.low_ms[night]),
        returned_ms=None if place is None else int(back.full_ms[place]),
        drawn_ah=float(down.drawn_ah[night]),
        returned_ah=None if place is None else float(back.returned_ah[place]),
        offset_a=None if place is None else _offset_a(measured, night, place),
        cell_v=float(down.cell_v[night]),
        x_low=float(down.x_low[night]),
        low_c=float(down.low_c[night]),
        current_a=float(down.current_a[night]),
    )


def _coverage(history: PackHistory, from_ms: int, to_ms: int) -> float:
    """Return the share of a span for which a reading of the current stands."""
    known = history.at_ms[~np.isnan(history.current_a)]
    inside = known[(known >= from_ms) & (known <= to_ms)]
    edges = np.concatenate([[from_ms], inside, [to_ms]])
    lost_ms = np.maximum(np.diff(edges) - history.step_s * 1000, 0).sum()
    return float(1 - lost_ms / max(to_ms - from_ms, 1))


def _reasons(
    history: PackHistory,
    measured: Measured,
    target: Target,
    night: int,
    place: int | None,
    coverage: float,
) -> tuple[str, ...]:
    """Return why a night that has a low anchor is no deep test, in sentences."""
    down = measured.balances.full_to_low
    found = []
    if coverage < LEAST_COVERAGE:
        found.append(
            f"only {coverage:.0%} of the way down has readings; {LEAST_COVERAGE:.0%} is needed"
        )
    if down.x_low[night] > target.low_state:
        found.append(
            f"it came down to {down.x_low[night]:.1%} by the voltage ({down.cell_v[night]:.3f} V a "
            f"cell at rest); below {target.low_state:.0%} is needed"
        )
    if down.charged_ah[night] > MOST_CHARGED_SHARE * target.rated_ah:
        found.append(
            f"{down.charged_ah[night]:.0f} Ah went in on the way down; no more than "
            f"{MOST_CHARGED_SHARE * target.rated_ah:.0f} Ah may"
        )
    if place is None and measured.balances.full_to_full.hours.size < LEAST_CLOSINGS:
        found.append(
            "the current sensor's zero is not known: it was not charged fully afterwards without "
            f"a break, and fewer than {LEAST_CLOSINGS} full charges in a row were seen before"
        )
    return (*found, *_temperature_reasons(history, measured, night))


def _temperature_reasons(history: PackHistory, measured: Measured, night: int) -> tuple[str, ...]:
    down = measured.balances.full_to_low
    between = (history.at_ms >= down.full_ms[night]) & (history.at_ms <= down.low_ms[night])
    if np.isnan(history.temperature_c[between]).all():
        return ("no temperature was read on the way down",)
    coldest, warmest = sorted((float(down.full_c[night]), float(down.low_c[night])))
    if coldest < COLDEST_C or warmest > WARMEST_C:
        return (
            f"the battery was at {coldest:.0f} to {warmest:.0f} °C; {COLDEST_C:.0f} to "
            f"{WARMEST_C:.0f} °C is needed, for cold hides charge and heat adds some",
        )
    return ()


def _offset_a(measured: Measured, night: int, place: int) -> float:
    """Return what the sensor reads too much, so that what went in is what came out. [A]"""
    down, back = measured.balances.full_to_low, measured.balances.low_to_full
    returned = back.returned_ah[place] - LOST_SHARE * back.charged_ah[place]
    return float((returned - down.drawn_ah[night]) / (back.hours[place] + down.hours[night]))


def _both_ways(measured: Measured, night: int, place: int, coverage: float) -> Estimate:
    """Return the capacity by what went out and what came back; the sensor's zero drops out."""
    down, back = measured.balances.full_to_low, measured.balances.low_to_full
    drawn = down.drawn_ah[night] + _offset_a(measured, night, place) * down.hours[night]
    back_weight = down.hours[night] / (down.hours[night] + back.hours[place])
    x_low, cold = float(down.x_low[night]), max(25 - float(down.low_c[night]), 0.0)
    share = FULL_STATE - x_low - PER_COLD_C * cold * (1 - x_low)
    value = drawn / share
    colder = abs(max(25 - back.full_c[place], 0.0) - max(25 - down.full_c[night], 0.0))
    parts_ah = (
        value / share * np.hypot(_CELL_U / down.slope_v[night], _FULL_U),
        value / share * _COLD_U * cold,
        value * back_weight * _COLD_U * colder,
        back_weight * _LOST_U * back.charged_ah[place] / share,
        _ANCHOR_AH / share,
        GAIN_U * value,
    )
    half = K90 * float(np.sqrt(np.sum(np.square(parts_ah))))
    return Estimate(
        value=float(value),
        low=float(value) - half,
        high=float(value) + half,
        coverage_ratio=coverage,
        method=METHOD,
    )


def _one_way(measured: Measured, row: int, coverage: float) -> Estimate:
    """Return the capacity by what went out, the sensor's zero read from other days."""
    night = night_list(measured).nights[row]
    return Estimate(
        value=night.implied_ah,
        low=night.low_ah,
        high=night.high_ah,
        coverage_ratio=coverage,
        method=METHOD,
    )
