"""The round trip against derivations by hand, cyclers, and batteries whose truth is known."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.curves import Curve, curve
from joulebook.core.daily.efficiency import (
    Pack,
    RunSums,
    joined_sums,
    ratio_u,
    round_trip,
    round_trip_u,
    run_sums,
    split_loss_ratio,
)
from joulebook.core.daily.energy import integrate_curve
from joulebook.core.spans import Span
from tests.helpers.curve_readings import line, seconds

PACK = Pack(200.0, 16)
DAY_S = 86_400


# CV-80: s = (4 + √(16 + 35200))/200 = 0.9582963285, s² = 0.9183318531.
def test_stored_energy_is_taken_into_account() -> None:
    ratio = split_loss_ratio(100.0, 88.0, 4.0)
    assert ratio == pytest.approx(0.9183318531, abs=1e-9)
    assert math.sqrt(ratio) == pytest.approx(0.9582963285, abs=1e-9)


@settings(derandomize=True, deadline=None)
@given(st.floats(1, 1000), st.floats(0.5, 0.999), st.floats(-0.2, 0.2))
def test_a_battery_with_a_known_loss_is_found(charge: float, s: float, share: float) -> None:
    # Both forms of CV-80: out = s·(in·s - stored), η = (out + stored·s)/in = out/(in - stored/s).
    stored = share * charge
    out = s * (charge * s - stored)
    ratio = split_loss_ratio(charge, out, stored)
    assert ratio == pytest.approx(s * s)
    assert ratio == pytest.approx((out + stored * s) / charge)
    assert ratio == pytest.approx(out / (charge - stored / s))
    # CV-80b: between the two forms that put all of the loss on one way.
    bounds = sorted([out / (charge - stored), (out + stored) / charge])
    assert bounds[0] - 1e-9 <= ratio <= bounds[1] + 1e-9


# CV-80b: 88/96 and 92/100; without the correction 88/100.
def test_bounds_of_the_worked_example() -> None:
    assert 0.9166666667 < split_loss_ratio(100.0, 88.0, 4.0) < 0.92
    assert split_loss_ratio(100.0, 88.0, 0.0) == pytest.approx(0.88)


# CV-81b: ORNL Leaf cell, four cycles; charge and discharge Wh as its instrument states them.
@pytest.mark.parametrize(
    ("charge", "discharge", "ratio"), [(119.41, 113.84, 0.95335), (119.5, 113.85, 0.95272)]
)
def test_a_cell_from_empty_to_empty(charge: float, discharge: float, ratio: float) -> None:
    assert split_loss_ratio(charge, discharge, 0.0) == pytest.approx(ratio, abs=1e-5)


def test_no_round_trip_without_charge() -> None:
    with pytest.raises(ValueError, match="without charge"):
        split_loss_ratio(0.0, 88.0, 0.0)


# CV-83: JCGM 100:2008 §5; √(0.01² + 0.01²) · 0.88 = 0.0124451; 90 %: · 1.6449 = 0.02047.
def test_uncertainty_of_a_ratio() -> None:
    apart = ratio_u(88.0, 100.0, out_u=0.88, into_u=1.0, correlation=0.0)
    assert apart == pytest.approx(0.0124451, abs=1e-7)
    assert apart * 1.6449 == pytest.approx(0.02047, abs=1e-5)
    assert ratio_u(88.0, 100.0, out_u=0.88, into_u=1.0, correlation=1.0) == 0.0


def _sums(**changes: float) -> RunSums:
    sums = {
        "charge_wh": 200_000.0,
        "discharge_wh": 188_000.0,
        "charge_u_wh": 0.0,
        "discharge_u_wh": 0.0,
        "charging_h": 200.0,
        "discharging_h": 400.0,
        "stored_ratio": 0.1,
        "covered_s": 30.0 * DAY_S,
        "length_s": 30.0 * DAY_S,
        **changes,
    }
    return RunSums(runs=1, from_start=True, to_end=True, **sums)


def test_a_month_gives_a_round_trip() -> None:
    # 16 cells · 3.2 V · 200 Ah = 10 240 Wh rated, so a tenth more is 1024 Wh stored.
    number = round_trip(_sums(), PACK)
    assert number.value == pytest.approx(split_loss_ratio(200_000, 188_000, 1024))
    # Offset: 0.3 A/√3 · 51.2 V · (200 h · 0.9449 + 400 h)/200 000 Wh = 0.0261.
    # Stored: √(2 · 0.03²/3) · 10 240 Wh · √0.9449/200 000 Wh = 0.0012. Together 0.0261.
    assert round_trip_u(_sums(), 0.9449, PACK) == pytest.approx(0.0261, abs=1e-4)
    assert number.low == pytest.approx(0.9449 - 1.6449 * 0.0261, abs=2e-4)


def test_a_round_trip_is_never_given_better_than_three_tenths_of_a_point() -> None:
    sums = _sums(charging_h=0.0, discharging_h=0.0, charge_wh=2e7, discharge_wh=1.88e7)
    number = round_trip(sums, PACK)
    assert number.value is not None
    assert number.low == pytest.approx(number.value - 0.003)
    assert number.high == pytest.approx(number.value + 0.003)


def test_gaps_make_it_less_certain() -> None:
    one, many = _sums(), _sums()
    many = RunSums(**{name: getattr(many, name) for name in RunSums.__slots__} | {"runs": 400})
    assert round_trip_u(many, 0.94, PACK) > round_trip_u(one, 0.94, PACK)


def test_nothing_gives_back_more_than_it_took() -> None:
    assert round_trip(_sums(discharge_wh=197_000.0), PACK).high == 1.0
    # Meters can disagree: the number itself is shown as it came out.
    number = round_trip(_sums(discharge_wh=204_000.0, stored_ratio=0.0), PACK)
    assert number.value == number.high == pytest.approx(1.02)


@pytest.mark.parametrize(
    ("sums", "pack", "words"),
    [
        (_sums(), None, "rated charge and cells in series were not entered"),
        (None, PACK, "were measured together"),
        (_sums(length_s=0.0), PACK, "were measured together"),
        (_sums(covered_s=10.0 * DAY_S), PACK, "only 33% of the time"),
        (_sums(charge_wh=3000.0, discharge_wh=2000.0), PACK, "too little went through: 3000 Wh in"),
        (_sums(charge_wh=0.0, discharge_wh=0.0, stored_ratio=0.0), PACK, "too little went through"),
        (_sums(charge_wh=20_000.0, discharge_wh=18_000.0), PACK, "uncertain by ±4"),
    ],
)
def test_it_refuses_with_a_sentence(sums: RunSums | None, pack: Pack | None, words: str) -> None:
    number = round_trip(sums, pack)
    assert number.value is None
    assert words in (number.reason or "")


def _battery(one_way: float, days: int, seed: int) -> tuple[Curve, Curve]:
    """A battery with a known one-way ratio that is charged by day and emptied by night."""
    random = np.random.default_rng(seed)
    at_s = np.arange(0, days * DAY_S + 1, 120)
    watts = 2000 * np.sin(2 * np.pi * at_s / DAY_S) + random.normal(0, 20, at_s.size)
    stored = np.where(watts > 0, watts * one_way, watts / one_way)
    middle = (stored[1:] + stored[:-1]) / 2 * 120 / 3600
    soc = 0.5 + np.concatenate([[0], np.cumsum(middle)]) / PACK.rated_wh
    return line(at_s.tolist(), watts.tolist()), line(at_s.tolist(), soc.tolist())


def _day_sums(power: Curve, soc: Curve, days: int) -> list[tuple[date, RunSums]]:
    return [
        (
            date(2026, 3, 1) + timedelta(days=day),
            run_sums(power, soc, seconds(day * DAY_S, (day + 1) * DAY_S)),
        )
        for day in range(days)
    ]


def test_days_put_together_are_the_window() -> None:
    power, soc = _battery(0.97, 5, seed=1)
    days = joined_sums(_day_sums(power, soc, 5))
    window = run_sums(power, soc, seconds(0, 5 * DAY_S))
    assert (days.runs, window.runs) == (1, 1)
    for name in ("charge_wh", "discharge_wh", "stored_ratio", "covered_s", "charging_h"):
        assert getattr(days, name) == pytest.approx(getattr(window, name))


def test_a_known_loss_is_found_from_a_week() -> None:
    power, soc = _battery(0.97, 7, seed=2)
    number = round_trip(joined_sums(_day_sums(power, soc, 7)), PACK)
    # 0.97² = 0.9409; the sensor of this battery has no offset, and its own level is right.
    assert number.value == pytest.approx(0.9409, abs=5e-4)
    assert number.coverage_ratio == 1.0


def test_intervals_hold_the_truth_for_sensors_within_the_printed_limits() -> None:
    # 200 batteries of known loss; the current's zero is off by anything within ±0.3 A, its scale
    # by ±1 %, the battery's own level by ±3 % at either end; some readings are lost.
    random = np.random.default_rng(80)
    inside = 0
    for number in range(200):
        one_way = random.uniform(0.95, 0.99)
        power, soc = _battery(one_way, 8, seed=number)
        gain, offset_w = random.uniform(0.99, 1.01), random.uniform(-0.3, 0.3) * PACK.nominal_v
        start_off, end_off = random.uniform(-0.03, 0.03, 2).tolist()
        claimed = soc.value + np.linspace(start_off, end_off, soc.value.size)
        kept = np.ones(power.at_ms.size, dtype=np.bool_)
        for start in random.integers(0, kept.size, 3):
            kept[start : start + 20] = False
        seen = curve(power.at_ms[kept], (power.value * gain + offset_w)[kept])
        level = curve(soc.at_ms[kept], claimed[kept])
        found = round_trip(joined_sums(_day_sums(seen, level, 8)), PACK)
        assert found.reason is None
        inside += (found.low or 0.0) <= one_way**2 <= (found.high or 0.0)
    assert 0.85 <= inside / 200 <= 0.98  # 90 % intervals


def test_a_gap_ends_a_run_and_what_happened_in_it_is_left_out() -> None:
    power = line([0, 60, 120, 1200, 1260], [600.0, 600.0, 600.0, 600.0, 600.0])
    soc = line([0, 60, 120, 1200, 1260], [0.5, 0.51, 0.52, 0.8, 0.81])
    sums = run_sums(power, soc, seconds(0, 1260))
    assert (sums.runs, sums.from_start, sums.to_end) == (2, True, True)
    assert sums.stored_ratio == pytest.approx(0.03)
    assert sums.charge_wh == pytest.approx(600 * 180 / 3600)
    later = run_sums(power, soc, seconds(500, 1300))
    assert (later.runs, later.from_start, later.to_end) == (1, False, False)


def test_runs_of_days_apart_do_not_meet() -> None:
    power, soc = _battery(0.97, 3, seed=3)
    days = _day_sums(power, soc, 3)
    assert joined_sums([days[0], days[2]]).runs == 2


def test_nothing_measured_together_has_no_runs() -> None:
    sums = run_sums(line([], []), line([], []), Span(0, 1000))
    assert (sums.runs, sums.charge_wh, sums.covered_s) == (0, 0.0, 0.0)


def test_no_days_make_no_window() -> None:
    with pytest.raises(ValueError, match="no days"):
        joined_sums([])


@pytest.mark.parametrize("lost", [0, 1, 40])
def test_sums_are_the_same_whether_the_power_s_integral_was_there_or_not(lost: int) -> None:
    power, soc = _battery(0.97, 2, seed=3)
    kept = np.ones(soc.at_ms.size, dtype=np.bool_)
    kept[300 : 300 + lost] = False  # a state of charge that is not always known with the power
    level = curve(soc.at_ms[kept], soc.value[kept])
    span = seconds(3600, DAY_S + 7200)
    whole = integrate_curve(power, span)
    sums = run_sums(power, level, span)
    assert run_sums(power, level, span, whole=whole) == sums
    assert (sums.charge_wh == whole.positive) is (lost < 40)
