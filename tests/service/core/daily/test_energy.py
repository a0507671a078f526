"""Integrals against calculus, worked examples and cyclers' own counters."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.curves import curve
from joulebook.core.daily.energy import (
    Integral,
    amount_estimate,
    hours_by_sign,
    integrate,
    integrate_curve,
    mean_over_time,
)
from joulebook.core.spans import Span
from tests.helpers.curve_readings import Readings, cycler, histories, readings, seconds, whole


# CV-60: a straight line from 0 to 1000 W in an hour holds 500 Wh.
def test_a_ramp() -> None:
    energy = whole([0, 3600], [0.0, 1000.0])
    assert (energy.positive, energy.negative, energy.net) == (500.0, 0.0, 500.0)


# CV-61: 1000 W falls to -500 W in 1.5 h and crosses zero after 1 h:
# 1000 W · 1 h / 2 = 500 Wh in, 500 W · 0.5 h / 2 = 125 Wh out. Clipping first gives 750 Wh in.
def test_a_line_through_zero_is_cut_there() -> None:
    energy = whole([0, 5400], [1000.0, -500.0])
    assert energy.positive == pytest.approx(500.0, abs=1e-9)
    assert energy.negative == pytest.approx(125.0, abs=1e-9)
    assert energy.net == pytest.approx(375.0, abs=1e-9)
    line = curve(*readings([0, 5400], [1000.0, -500.0]), max_gap_s=5400)
    assert hours_by_sign(line, seconds(0, 5400)) == pytest.approx((1.0, 0.5))


# CV-62: own arithmetic; -5250 W·s net, where the mean of the readings is above zero.
def test_uneven_steps_are_weighted_by_time() -> None:
    energy = whole([0, 10, 15, 45, 60, 120], [0.0, 600.0, 600.0, 0.0, -300.0, -300.0])
    assert energy.positive == pytest.approx(15_000 / 3600)
    assert energy.negative == pytest.approx(20_250 / 3600)
    assert energy.net == pytest.approx(-1.458333, abs=1e-6)


# CV-63: a sine of 5000 W for 12 h; trapezoid = 5000·(12/N)·cot(π/2N), exact 120000/π Wh.
@pytest.mark.parametrize(
    ("steps", "expected_wh"),
    [
        (12, 37978.77056),
        (48, 38183.54998),
        (144, 38195.67129),
        (720, 38197.12574),
        (4320, 38197.18466),
    ],
)
def test_half_a_sine(steps: int, expected_wh: float) -> None:
    at_s = np.linspace(0, 43_200, steps + 1)
    energy = whole(at_s.tolist(), (5000 * np.sin(np.pi * at_s / 43_200)).tolist())
    assert energy.positive == pytest.approx(expected_wh, abs=1e-5)
    # The step-halved estimate finds the error that remains, within a fifth of it.
    error = 120_000 / math.pi - expected_wh
    assert energy.positive_u == pytest.approx(error, rel=0.2 if steps > 12 else 0.5)


# CV-64: 1000·x(6-x)/9 W for 6 h; exact 4000 Wh.
@pytest.mark.parametrize(
    ("step_s", "expected_wh"), [(3600, 3888.888889), (360, 3998.888889), (60, 3999.969136)]
)
def test_a_parabola(step_s: int, expected_wh: float) -> None:
    at_s = np.arange(0, 21_601, step_s)
    hours = at_s / 3600
    energy = whole(at_s.tolist(), (1000 * hours * (6 - hours) / 9).tolist())
    assert energy.positive == pytest.approx(expected_wh, abs=1e-5)


# CV-65: half an hour of 1000 W, an hour of silence, half an hour again: 1000 Wh, half covered.
def test_a_gap_is_not_bridged() -> None:
    at_s = [*range(0, 1801, 60), *range(5400, 7201, 60)]
    energy = integrate(*readings(at_s, [1000.0] * len(at_s)), span=seconds(0, 7200), max_gap_s=300)
    assert (energy.positive, energy.coverage_ratio) == (1000.0, 0.5)


# CV-66: 2000 W, one reading lost: a step of 120 s where 60 s are usual is bridged.
def test_one_lost_reading_is_bridged() -> None:
    at_s = [second for second in range(0, 3601, 60) if second != 1800]
    energy = integrate(*readings(at_s, [2000.0] * len(at_s)), span=seconds(0, 3600))
    assert (energy.positive, energy.coverage_ratio) == (2000.0, 1.0)
    values = [2000.0 if second != 1800 else np.nan for second in range(0, 3601, 60)]
    energy = integrate(*readings(range(0, 3601, 60), values), span=seconds(0, 3600))
    assert (energy.positive, energy.coverage_ratio) == (2000.0, 1.0)


def test_a_line_across_the_edge_counts_with_its_part_inside() -> None:
    # 0 to 600 W from -60 s to 60 s: at 0 s it is 300 W, so (300 + 600)/2 · 60 s = 7.5 Wh.
    energy = integrate(*readings([-60, 60], [0.0, 600.0]), span=seconds(0, 60), max_gap_s=300)
    assert energy.positive == pytest.approx(7.5)
    assert energy.coverage_ratio == 1.0


@pytest.mark.parametrize("at_s", [[], [30], [-30], [90], [-60, -30], [61, 90]])
def test_nothing_measured_is_not_zero(at_s: list[float]) -> None:
    energy = integrate(*readings(at_s, [5.0] * len(at_s)), span=seconds(0, 60))
    assert (energy.positive, energy.negative, energy.net) == (None, None, None)
    assert energy.coverage_ratio == 0.0


def test_a_span_without_length_lacks_nothing() -> None:
    energy = integrate(*readings([0, 60], [5.0, 5.0]), span=seconds(30, 30))
    assert (energy.positive, energy.coverage_ratio) == (0.0, 1.0)


def _charge(data: dict[str, list[float]], column: str) -> Integral:
    return whole(data["time_s"], data[column], max_gap_s=300)


def _power(data: dict[str, list[float]]) -> dict[str, list[float]]:
    power = np.multiply(data["current_a"], data["voltage_v"]).tolist()
    return {"time_s": data["time_s"], "power": power}


# CV-81: ORNL Leaf cell (doi 10.5281/zenodo.2580327); instrument 30.35 and 30.33 Ah.
def test_a_cell_at_one_c() -> None:
    data = cycler("ornl_leaf_1c_cycle1.csv")
    charge, energy = _charge(data, "current_a"), _charge(data, "power_w")
    assert (charge.positive, charge.negative) == pytest.approx((30.3527, 30.3348), abs=5e-4)
    assert (energy.positive, energy.negative) == pytest.approx((119.3840, 113.8248), abs=2e-3)
    assert (charge.positive, charge.negative) == pytest.approx((30.35, 30.33), abs=0.01)
    product = _charge(_power(data), "power")
    assert (product.positive, product.negative) == pytest.approx((119.8050, 114.0407), abs=2e-3)


# CV-81c: sdist battery-data-toolkit 0.4.6, arbin_example.csv; cycler 1.07291 and 1.07253 Ah.
def test_a_cell_charged_fast() -> None:
    data = cycler("arbin_lfp_cycle2.csv")
    # Some of its steps are below a millisecond: time runs tenfold here, and so do the results.
    data["time_s"] = (np.array(data["time_s"]) * 10).tolist()
    charge, energy = _charge(data, "current_a"), _charge(_power(data), "power")
    assert (charge.positive, charge.negative) == pytest.approx((10.7590, 10.7341), abs=5e-4)
    assert (energy.positive, energy.negative) == pytest.approx((37.6813, 32.6148), abs=2e-3)
    # The cycler saw 0.31 % less charge: 5 s between readings across steps of 5.7 A. That is
    # 1.98 of the standard uncertainties that halving the step gives.
    assert charge.positive is not None
    assert abs(charge.positive - 10.7253) == pytest.approx(1.98 * charge.positive_u, rel=0.02)


# CV-81d: the same package, p492-13-raw.csv, cycle 2; cycler 0.02187029 and 0.02173834 Ah.
def test_a_cell_cycled_slowly() -> None:
    data = cycler("p492_cycle2.csv")
    charge = _charge(data, "current_a")
    assert (charge.positive, charge.negative) == pytest.approx((0.0218682, 0.0217364), abs=5e-7)
    assert (charge.positive, charge.negative) == pytest.approx((0.02187029, 0.02173834), rel=1e-4)


@settings(derandomize=True, deadline=None)
@given(histories(), st.integers(0, 40_000_000))
def test_the_parts_of_a_span_sum_to_the_whole(history: Readings, cut_ms: int) -> None:
    span = seconds(0, 40_000)
    parts = (seconds(0, cut_ms / 1000), seconds(cut_ms / 1000, 40_000))
    full = integrate(*history, span=span, max_gap_s=600)
    first, second = (integrate(*history, span=part, max_gap_s=600) for part in parts)
    assert (first.positive or 0) + (second.positive or 0) == pytest.approx(
        full.positive or 0, abs=1e-6
    )
    assert (first.negative or 0) + (second.negative or 0) == pytest.approx(
        full.negative or 0, abs=1e-6
    )
    assert first.covered_s + second.covered_s == pytest.approx(full.covered_s)


@settings(derandomize=True, deadline=None)
@given(histories())
def test_reversing_the_sign_swaps_in_and_out(history: Readings) -> None:
    at_ms, value = history
    span = seconds(0, 40_000)
    there = integrate(at_ms, value, span=span, max_gap_s=600)
    back = integrate(at_ms, -value, span=span, max_gap_s=600)
    assert (there.positive, there.negative) == (back.negative, back.positive)
    assert (there.positive_u, there.negative_u) == (back.negative_u, back.positive_u)
    there_h, back_h = (
        hours_by_sign(curve(at_ms, each, max_gap_s=600), span) for each in (value, -value)
    )
    assert there_h == pytest.approx(back_h[::-1], abs=1e-9)


@settings(derandomize=True, deadline=None)
@given(histories(), st.integers(-(10**12), 10**13))
def test_an_integral_does_not_depend_on_when(history: Readings, shift_ms: int) -> None:
    at_ms, value = history
    here = integrate(at_ms, value, span=seconds(0, 20_000), max_gap_s=600)
    shifted = seconds(shift_ms / 1000, shift_ms / 1000 + 20_000)
    there = integrate(at_ms + shifted.start_ms, value, span=shifted, max_gap_s=600)
    assert there.covered_s == here.covered_s
    assert there.positive == pytest.approx(here.positive, abs=1e-6)
    assert there.negative == pytest.approx(here.negative, abs=1e-6)


def test_the_interval_holds_what_switching_loads_really_used() -> None:
    # Kettles and wheels: a load switches between 200 W and 2000 W after 3 to 12 minutes, read
    # every two minutes without error. The truth is known to the second.
    random = np.random.default_rng(492)
    inside = 0
    for _ in range(400):
        switch_s = np.cumsum(random.uniform(180, 720, size=500))
        power = np.where(np.arange(500) % 2, 2000.0, 200.0)
        second = np.arange(86_400) + 0.5
        true_wh = float(np.sum(power[np.searchsorted(switch_s, second)])) / 3600
        at_s = np.arange(0, 86_401, 120)
        seen = whole(at_s.tolist(), power[np.searchsorted(switch_s, at_s)].tolist())
        assert seen.positive is not None
        inside += abs(seen.positive - true_wh) <= 1.645 * seen.positive_u
    assert 0.86 <= inside / 400 <= 0.99  # 90 % intervals; a little wide is the safe side


def test_an_amount_carries_the_meters_limit() -> None:
    # ±1 % uniform: 1000 Wh · 0.01 / √3 · 1.6449 = 9.50 Wh.
    number = amount_estimate(1000.0, 0.0, coverage_ratio=0.5, reason="")
    assert (number.low, number.high) == pytest.approx((990.50, 1009.50), abs=0.01)
    wider = amount_estimate(1000.0, 10.0, coverage_ratio=0.5, reason="")
    # √(5.7735² + 10²) · 1.6449 = 18.99 Wh.
    assert wider.high == pytest.approx(1018.99, abs=0.01)


def test_an_amount_that_was_not_measured_says_so() -> None:
    number = amount_estimate(None, 0.0, coverage_ratio=0.0, reason="no readings")
    assert (number.value, number.reason) == (None, "no readings")


def test_an_amount_is_never_below_zero() -> None:
    assert amount_estimate(1.0, 5.0, coverage_ratio=1.0, reason="").low == 0.0


@settings(derandomize=True, deadline=None)
@given(histories())
def test_a_power_of_one_sign_is_the_part_of_one_that_has_both(history: Readings) -> None:
    # Two readings of the other sign far behind a gap, so that nothing of them is in the span.
    at_ms, value = history[0], np.abs(history[1])
    later = int(at_ms[-1]) + 10_000_000
    span = seconds(0, 40_000)
    for sign in (1.0, -1.0):
        one = curve(at_ms, sign * value, max_gap_s=600)
        both = curve(
            np.append(at_ms, [later, later + 1000]),
            np.append(sign * value, [-sign, -sign]),
            max_gap_s=600,
        )
        wide = Span(span.start_ms, later + 2000)
        alone, beside = integrate_curve(one, wide), integrate_curve(both, wide)
        ours, theirs = ("positive", "negative") if sign > 0 else ("negative", "positive")
        assert (getattr(alone, ours) or 0.0) == pytest.approx(getattr(beside, ours), rel=1e-12)
        assert (getattr(alone, theirs) or 0.0) == 0.0
        assert getattr(alone, f"{theirs}_u") == 0.0
        there = hours_by_sign(one, wide)
        assert there[0 if sign < 0 else 1] == 0.0
        far = hours_by_sign(both, wide)
        assert max(there) == pytest.approx(far[0 if sign > 0 else 1], rel=1e-12)


@settings(derandomize=True, deadline=None)
@given(histories())
def test_the_mean_over_time_is_the_integral_over_the_time(history: Readings) -> None:
    span = seconds(0, 40_000)
    line = curve(*history, max_gap_s=600)
    energy = integrate_curve(line, span)
    mean, coverage_ratio = mean_over_time(line, span)
    assert coverage_ratio == energy.coverage_ratio
    if energy.net is None:
        assert mean is None
    else:
        assert mean == energy.net / energy.covered_s * 3600


def test_a_span_without_length_has_no_mean() -> None:
    line = curve(*readings([0, 60], [5.0, 5.0]), max_gap_s=300)
    assert mean_over_time(line, seconds(30, 30)) == (None, 1.0)
