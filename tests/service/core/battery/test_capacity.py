"""What is stated of the capacity: against stated truths, and each refusal by its reason."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.capacity import (
    GAIN_LIMIT_RATIO,
    CapacityPoint,
    against_first,
    capacity_statement,
    coverage,
)
from joulebook.core.battery.capacity_fit import CapacityFit, fit_capacity
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from tests.helpers.charge_balances import START_MS, Truth, balances, first_days

DAY = int(MS_PER_DAY)
DEEP = Truth(reserve=0.06, gain=1.006)


@pytest.fixture(scope="module")
def deep() -> CapacityFit:
    return fit_capacity(balances(DEEP))


def _half(estimate: Estimate) -> float:
    assert estimate.value is not None
    assert estimate.low is not None
    assert estimate.high is not None
    assert estimate.high - estimate.value == pytest.approx(estimate.value - estimate.low)
    return estimate.high - estimate.value


def _truth_ah(point: CapacityPoint) -> float:
    return float(DEEP.capacity_ah(np.array([(point.at_ms - START_MS) / DAY / DAYS_PER_YEAR]))[0])


def test_the_true_capacity_is_inside_and_the_sensor_s_too(deep: CapacityFit) -> None:
    statement = capacity_statement(deep, shift_v=0.001)
    assert len(statement.points) == 19  # every 60 days of 1096
    for point in (*statement.points, statement.latest):
        true = _truth_ah(point)
        assert point.ah.low is not None
        assert point.ah.high is not None
        assert point.ah.low < true < point.ah.high
        assert point.sensor_ah.value == pytest.approx(true * DEEP.gain, rel=0.006)
        assert point.ah.method == "capacity-1"
        assert point.ah.coverage_ratio == 1.0
    assert statement.latest.at_ms == deep.low_ms[-1]


def test_the_gain_is_its_own_part(deep: CapacityFit) -> None:
    latest = capacity_statement(deep).latest
    assert latest.ah.value is not None
    # A limit of 1 %, uniform within, is 0.577 % of standard uncertainty.
    gain = K90 * GAIN_LIMIT_RATIO / np.sqrt(3) * latest.ah.value
    assert _half(latest.ah) == pytest.approx(np.hypot(_half(latest.sensor_ah), gain))
    # Where nothing else is uncertain: 0.3 % for full, 1.5 mV over some 2.6 V for the curve.
    sure = capacity_statement(replace(deep, covariance=deep.covariance * 0)).latest.sensor_ah
    assert sure.value is not None
    assert 0.00301 < _half(sure) / K90 / sure.value < 0.0032
    assert _half(latest.sensor_ah) > _half(sure)


def test_health_does_not_know_the_gain(deep: CapacityFit) -> None:
    latest = capacity_statement(deep).latest
    years = (latest.at_ms - START_MS) / DAY / DAYS_PER_YEAR
    first = DEEP.capacity_ah(np.linspace(0, 90 / DAYS_PER_YEAR, 91)).mean()
    true = DEEP.capacity_ah(np.array([years]))[0] / first
    assert latest.health.value == pytest.approx(true, abs=_half(latest.health))
    assert _half(latest.health) < 0.006
    ratio, ratio_u = against_first(deep, deep.knots_ms[:1])
    assert ratio[0] == pytest.approx(1.005, abs=0.004)  # a little above its own first 90 days
    assert ratio_u[0] < 0.002


def test_every_statement_says_what_the_gain_does(deep: CapacityFit) -> None:
    alone = capacity_statement(deep).cautions
    assert len(alone) == 1
    assert "up to 1%" in alone[0]
    assert capacity_statement(deep, spread_v=0.02).cautions == alone
    assert "differ by 45 mV" in capacity_statement(deep, spread_v=0.045).cautions[1]


def _reason(fit: CapacityFit, shift_v: float | None = None) -> str:
    statement = capacity_statement(fit, shift_v=shift_v)
    assert statement.latest.ah.value is None
    assert statement.latest.ah.reason is not None
    assert all(point.ah.value is None for point in statement.points)
    return statement.latest.ah.reason


def test_a_home_that_never_gets_low_is_refused() -> None:
    # Anchors above 18 % are not anchors: the record has full charges and nothing else.
    never = fit_capacity(balances(Truth(reserve=0.30, reserve_spread=0.01)))
    assert never.low_ms.size == 0
    statement = capacity_statement(never)
    assert statement.points == ()
    assert statement.latest.at_ms == never.end_ms
    assert "a low state of charge 0 times, and 15 are needed" in _reason(never)
    assert statement.latest.health.value is None


def test_how_many_lows_are_needed() -> None:
    seldom = Truth(reserve=0.12, reserve_spread=0.005, low_ratio=0.05)
    # A tenth of a year in, two or so; within half a year nine; after a year about twenty.
    assert "times, and 8 are needed" in _reason(fit_capacity(first_days(balances(seldom), 60)))
    half = fit_capacity(first_days(balances(seldom), 182))
    assert 8 <= half.low_ms.size < 15
    assert capacity_statement(half).latest.health.value is not None
    later = fit_capacity(replace(first_days(balances(seldom), 182), end_ms=START_MS + 200 * DAY))
    assert "times, and 15 are needed" in _reason(later)


def test_three_deep_discharges_are_enough() -> None:
    known = first_days(balances(Truth(reserve=0.05, reserve_spread=0.002, low_ratio=0.02)), 300)
    fit = fit_capacity(known)
    assert 3 <= fit.low_ms.size < 8
    latest = capacity_statement(fit).latest
    assert latest.ah.value is not None
    assert latest.sensor_ah.value == pytest.approx(200.5, rel=0.01)


def test_too_few_closings() -> None:
    known = balances(Truth(years=1.0, full_ratio=0.04, low_ratio=1.0, reserve=0.06))
    fit = fit_capacity(known)
    assert "full twice in a row without a break" in _reason(fit)


def test_a_charge_voltage_that_was_moved(deep: CapacityFit) -> None:
    assert "moved by 25 mV a cell" in _reason(deep, shift_v=-0.025)


def test_a_battery_that_is_hardly_ever_full(deep: CapacityFit) -> None:
    rng = np.random.default_rng(2)
    low = deep.rows.anchor >= 0
    noise = np.where(low, 4.0 * rng.standard_normal(low.size), 0.0)
    odd = replace(deep, rest_ah=deep.rest_ah + noise)
    assert "differs from night to night by 2.0% of the rated charge" in _reason(odd)


def test_high_lows_tell_of_changes_only() -> None:
    high = fit_capacity(balances(Truth(reserve=0.172, reserve_spread=0.006, curve_v=0.001)))
    assert np.median(high.low_states) > 0.16
    assert "17% or more at half of its low points" in _reason(high)
    latest = capacity_statement(high).latest
    years = (latest.at_ms - START_MS) / DAY / DAYS_PER_YEAR
    truth = Truth()
    first = truth.capacity_ah(np.linspace(0, 90 / DAYS_PER_YEAR, 91)).mean()
    assert latest.health.value == pytest.approx(
        truth.capacity_ah(np.array([years]))[0] / first, abs=_half(latest.health)
    )


def test_an_interval_too_wide_is_no_statement(deep: CapacityFit) -> None:
    unsure = replace(deep, covariance=deep.covariance * 1e4)
    assert "it would be uncertain by ±" in _reason(unsure)


def test_an_old_capacity_is_not_the_present_one(deep: CapacityFit) -> None:
    later = replace(deep, end_ms=deep.end_ms + 200 * DAY)
    statement = capacity_statement(later)
    assert statement.latest.ah.reason is not None
    assert "202 days old" in statement.latest.ah.reason
    assert statement.points[-1].ah.value is not None


def test_coverage_is_the_share_of_stretches_with_a_low() -> None:
    known = balances(Truth(years=1.0))
    kept = (known.full_to_low.low_ms - START_MS) // DAY < 120
    low = known.full_to_low
    few = first_days(known, 120).full_to_low
    assert few.low_ms.size == np.count_nonzero(kept)
    way = first_days(known, 120).low_to_full
    fit = fit_capacity(replace(known, full_to_low=few, low_to_full=way))
    assert low.low_ms.size > few.low_ms.size
    assert coverage(fit) == pytest.approx(2 / 7)  # of seven stretches of 365 days
