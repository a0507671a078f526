"""Fade against stated truths: straight, bent, none at all, and too early to say."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.capacity_fit import CapacityFit, fit_capacity
from joulebook.core.battery.fade import fade
from joulebook.core.daily.energy import K90
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from tests.helpers.charge_balances import START_MS, Truth, balances, first_days

DAY = int(MS_PER_DAY)


def _line(truth: Truth, years: float) -> float:
    at = np.linspace(0, years, 1001)
    held = truth.capacity_ah(at)
    return float(-np.polyfit(at, held, 1)[0] / held[0])


@pytest.mark.parametrize(
    "truth",
    [
        Truth(loss_a=0.03, loss_power=1.0, lithium=1.0, reserve=0.06),
        Truth(loss_a=0.02, loss_power=0.5, lithium=0.0, reserve=0.06),
        Truth(loss_a=0.03, loss_power=0.7, reserve=0.12, seed=4),
        Truth(loss_a=0.02, loss_power=1.0, reserve=0.08, gain=0.99, years=2.0),
    ],
    ids=["straight", "root of time", "shallow", "a sensor that counts too little"],
)
def test_the_true_fade_is_inside(truth: Truth) -> None:
    found = fade(fit_capacity(balances(truth)), shift_v=0.0)
    rate, lost = found.per_year, found.since_start
    assert rate.value is not None
    assert rate.low is not None
    assert rate.high is not None
    assert rate.low < _line(truth, truth.years) < rate.high
    assert rate.high - rate.low < 0.012
    assert lost.low is not None
    assert lost.high is not None
    held = truth.capacity_ah(np.array([0.0, truth.years]))
    assert lost.low < 1 - held[1] / held[0] < lost.high
    assert found.sentence.startswith("It loses")
    assert rate.method == lost.method == "fade-1"
    assert (found.from_ms, found.to_ms) == (START_MS, START_MS + round(truth.years * 365.25) * DAY)


def test_a_battery_that_does_not_fade() -> None:
    found = fade(fit_capacity(balances(Truth(loss_a=0.0, reserve=0.06, years=2.0))))
    assert found.sentence.startswith("No measurable fade: between -")
    assert found.per_year.low is not None
    assert found.per_year.low < 0.0


def test_a_battery_that_seems_to_gain() -> None:
    found = fade(fit_capacity(balances(Truth(loss_a=-0.03, loss_power=1.0, reserve=0.05))))
    assert found.sentence.startswith("It seems to gain 3.")


def test_before_six_months_nothing_is_said() -> None:
    found = fade(fit_capacity(first_days(balances(Truth(reserve=0.06)), 150)))
    assert found.per_year.value is None
    assert found.per_year.low is None
    assert found.sentence == found.per_year.reason
    assert "span 4.9 months; before six" in found.sentence


def test_between_six_and_twelve_months_only_the_interval() -> None:
    truth = Truth(reserve=0.06, loss_power=1.0)
    found = fade(fit_capacity(first_days(balances(truth), 300)))
    assert found.per_year.value is None
    assert found.since_start.value is None
    assert found.per_year.low is not None
    assert found.per_year.high is not None
    assert found.per_year.low < 0.025 < found.per_year.high
    assert found.per_year.reason is not None
    assert "only the interval" in found.per_year.reason
    assert found.sentence.startswith("It loses between")


@pytest.fixture(scope="module")
def deep() -> CapacityFit:
    return fit_capacity(balances(Truth(reserve=0.06)))


def test_it_refuses_what_the_capacity_refuses(deep: CapacityFit) -> None:
    moved = fade(deep, shift_v=0.03)
    assert "charge voltage was moved" in moved.sentence
    assert moved.since_start.reason == moved.per_year.reason == moved.sentence


def test_ends_without_anchors_are_cut_off() -> None:
    known = balances(Truth(reserve=0.06))
    low = known.full_to_low.low_ms
    inside = (low > START_MS + 200 * DAY) & (low < START_MS + 800 * DAY)
    fit = fit_capacity(known)
    some = replace(fit, low_ms=fit.low_ms[inside[fit.rows.anchor[fit.rows.anchor >= 0]]])
    found = fade(some)
    assert found.from_ms == some.low_ms[0]
    assert found.to_ms == some.low_ms[-1]
    assert found.per_year.value is not None
    # The same line through the middle part only.
    at = np.linspace(found.from_ms, found.to_ms, 501)
    years = (at - START_MS) / DAY / DAYS_PER_YEAR
    held = Truth().capacity_ah(years)
    true = -np.polyfit(years, held, 1)[0] / held[0]
    assert found.per_year.value == pytest.approx(true, abs=0.003)


def test_a_record_without_lows_spans_nothing() -> None:
    found = fade(fit_capacity(first_days(balances(Truth()), 0)))
    assert found.from_ms == found.to_ms == START_MS


def test_the_uncertainty_of_a_slope_by_hand(deep: CapacityFit) -> None:
    # Knots of equal and independent uncertainty u on n+1 dates of equal distance d: the slope of
    # the lines between them is nearly that of the least-squares line, u/(d·√(Σ (k - n/2)²)).
    size = deep.capacity_ah.size
    alone = np.zeros_like(deep.covariance)
    alone[deep.unknowns.capacity, deep.unknowns.capacity] = np.eye(size)
    end_ms = int(deep.knots_ms[-1])
    ended = replace(deep, covariance=alone, end_ms=end_ms, low_ms=np.append(deep.low_ms, end_ms))
    rate = fade(ended).per_year
    assert rate.high is not None
    assert rate.value is not None
    place = np.arange(size) - (size - 1) / 2
    slope_u = 1 / (60 / DAYS_PER_YEAR * np.sqrt(np.sum(place**2))) / deep.capacity_ah[0]
    half = K90 * np.hypot(1.4 * slope_u, 0.0005)
    assert rate.high - rate.value == pytest.approx(half, rel=0.05)
