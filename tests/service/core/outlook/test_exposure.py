"""Exposure by hand, and its factor beside published models of ageing."""

import math
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.estimate import Estimate
from joulebook.core.history import PackHistory
from joulebook.core.outlook.exposure import Exposure, ageing_speed, exposure, thermal_curve
from joulebook.core.spans import Span
from tests.helpers.pack_records import DAY_MS, HOUR_MS, pack_record, without

NAN = float("nan")
YEAR_MS = round(365.25 * DAY_MS)


def _hourly(temperature_c: list[float], current_a: float = 0.0) -> PackHistory:
    return pack_record([current_a] * len(temperature_c), step_s=3600, temperature_c=temperature_c)


def _all(history: PackHistory) -> Exposure:
    return exposure(history, Span(0, int(history.at_ms[-1]) + round(history.step_s * 1000)))


def _is(estimate: Estimate, value: float, low: float, high: float) -> None:
    assert estimate.value == pytest.approx(value)
    assert [estimate.low, estimate.high] == pytest.approx([low, high])


# From the definition, exp(0.055 · 10) and exp(-0.055 · 10).
def test_ten_degrees() -> None:
    assert ageing_speed(np.array([15.0, 25.0, 35.0])).tolist() == pytest.approx(
        [0.5769498, 1.0, 1.7332530], abs=1e-7
    )


# CV-113: Naumann et al. 2018, Ea 17126 J/mol: the loss at 35 °C is 1.2513143518 times that at
# 25 °C under a square root of time, so as much is lost after 1 / 1.2513² of the time. CV-114:
# BLAST-Lite 1.1.0 after a year: 0.02747 / 0.02148 and 0.04702 / 0.03520, both mostly square root.
def test_published_models_speed_up_about_as_much() -> None:
    ours = float(ageing_speed(np.array([35.0]))[0])
    naumann = math.exp(17126 / 8.3144598 * (1 / 298.15 - 1 / 308.15))
    assert naumann == pytest.approx(1.2513143518, abs=1e-9)
    published = [naumann**2, (0.02747 / 0.02148) ** 2, (0.04702 / 0.03520) ** 2]
    assert min(published) == pytest.approx(1.566, abs=1e-3)
    assert all(abs(ours / theirs - 1) < 0.11 for theirs in published)


def test_the_worked_example_of_the_page() -> None:
    half = round(365.25 * 24 / 2)
    seen = _all(_hourly([15.0] * half + [35.0] * half))
    assert seen.thermal_years.value == pytest.approx(1.155, abs=1e-3)
    assert seen.mean_c.value == pytest.approx(25.0)


def test_hours_of_heat_with_an_interval_from_the_sensors_limit() -> None:
    # Within 0.9 °C of a limit an hour may or may not count.
    seen = _all(_hourly([20.0, 34.5, 35.0, 35.5, 36.0, 44.2, 45.5, 46.0]))
    _is(seen.hot_h, 5, 4, 7)
    _is(seen.very_hot_h, 2, 1, 3)
    _is(seen.mean_c, 37.0875, 36.1875, 37.9875)
    assert seen.hot_h.coverage_ratio == 1.0


def test_charging_in_the_cold_counts_and_discharging_does_not() -> None:
    cold = [6.0, 4.0, 1.0, -1.0, -2.0]
    charging, resting, drawing = (_all(_hourly(cold, amps)) for amps in (5.0, 0.1, -5.0))
    _is(charging.cold_charging_h, 4, 4, 4)
    _is(charging.freezing_charging_h, 2, 2, 2)
    for seen in (resting, drawing):
        _is(seen.cold_charging_h, 0, 0, 0)
        _is(seen.freezing_charging_h, 0, 0, 0)


def test_the_sensors_offset_is_no_charge() -> None:
    history = _hourly([-5.0] * 3, 0.3)
    seen = exposure(history, Span(0, 3 * HOUR_MS), offset_at=lambda at: np.full(at.size, 0.25))
    assert seen.freezing_charging_h.value == 0.0
    assert _all(history).freezing_charging_h.value == 3.0


def test_hours_at_high_voltage_and_nearly_full() -> None:
    # 200 Ah: full at the second reading, then 10 A out; 20 Ah are the tenth.
    amps = [10.0, 1.0, -10.0, -10.0, -10.0, -10.0]
    volts = [53.0, 54.4, 53.0, 52.8, 52.7, 52.6]
    seen = _all(pack_record(amps, step_s=3600, voltage_v=volts))
    assert seen.high_voltage_h.value == 1.0
    # From the second reading on 1 Ah in, then 0 to 20 Ah out since; before it nothing is known.
    assert seen.nearly_full_h.value == 4.0
    assert seen.nearly_full_h.coverage_ratio == pytest.approx(5 / 6)


def test_a_full_charge_is_not_known_across_a_break_or_after_four_days() -> None:
    amps, volts = [0.0] * 200, [54.4] + [53.2] * 199
    history = pack_record(amps, step_s=3600, voltage_v=volts)
    # 0 to 96 hours after the full one.
    assert _all(history).nearly_full_h.value == 97.0
    broken = without(history, from_ms=10 * HOUR_MS, to_ms=20 * HOUR_MS)
    assert _all(broken).nearly_full_h.value == 10.0


def test_what_came_before_the_span_tells_that_it_is_full() -> None:
    history = pack_record([0.0] * 10, step_s=3600, voltage_v=[54.4] + [53.2] * 9)
    seen = exposure(history, Span(5 * HOUR_MS, 10 * HOUR_MS))
    assert seen.nearly_full_h.value == 5.0
    assert seen.high_voltage_h.value == 0.0


def test_hours_end_with_the_span() -> None:
    seen = exposure(_hourly([40.0] * 3), Span(0, 2 * HOUR_MS + HOUR_MS // 2))
    assert seen.hot_h.value == pytest.approx(2.5)


def test_missing_is_not_cold_and_lowers_the_coverage() -> None:
    seen = _all(_hourly([40.0, NAN, NAN, 40.0]))
    assert seen.hot_h.value == 2.0
    assert seen.hot_h.coverage_ratio == pytest.approx(0.5)
    assert seen.cold_charging_h.coverage_ratio == pytest.approx(0.5)


def test_nothing_measured_is_refused() -> None:
    history = replace(_hourly([NAN] * 3), voltage_v=np.full(3, NAN), current_a=np.full(3, NAN))
    seen = _all(history)
    for name in ("thermal_years", "mean_c", "hot_h", "cold_charging_h", "nearly_full_h"):
        estimate = getattr(seen, name)
        assert estimate.value is None
        assert estimate.reason == "nothing that tells it was measured in this time"
    empty = thermal_curve(history)
    assert empty.coverage_ratio == 0.0
    assert empty.years_at(np.array([0, HOUR_MS])).tolist() == [0.0, 0.0]


def test_thermal_age_by_instants_and_through_a_break() -> None:
    hours = round(365.25 * 24)
    history = _hourly([35.0] * hours)
    curve = thermal_curve(history)
    assert curve.coverage_ratio == 1.0
    assert curve.years_at(np.array([YEAR_MS // 2]))[0] == pytest.approx(1.733253 / 2, abs=1e-4)
    broken = thermal_curve(without(history, from_ms=YEAR_MS // 4, to_ms=YEAR_MS // 2))
    assert broken.coverage_ratio == pytest.approx(0.75, abs=1e-3)
    assert broken.years_at(np.array([YEAR_MS]))[0] == pytest.approx(1.733253, abs=1e-3)
