"""Throughput by hand, against a published summary, and on a year with all that goes wrong."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.outlook.counter_fill import EnergyCounters
from joulebook.core.outlook.throughput import Throughput, throughput, throughput_curve
from tests.helpers.curve_readings import cycler
from tests.helpers.pack_records import DAY_MS, HOUR_MS, pack_record, without


def _value(result: Throughput, name: str) -> float:
    value = getattr(result, name).value
    assert isinstance(value, float)
    return value


# CV-82: 100 Ah in and 100 Ah out of 200 Ah, (100 + 100) / (2 · 200).
def test_half_a_cycle() -> None:
    hour = [100.0] * 60 + [-100.0] * 60
    curve = throughput_curve(pack_record(hour))
    result = throughput(curve)
    assert _value(result, "efc") == pytest.approx(0.5)
    assert _value(result, "charge_ah") == pytest.approx(100.0)
    assert _value(result, "discharge_ah") == pytest.approx(100.0)
    assert _value(result, "charge_wh") == pytest.approx(5200.0)
    assert _value(result, "discharge_wh") == pytest.approx(5200.0)
    assert result.efc.coverage_ratio == 1.0
    at = np.array([-1, 0, HOUR_MS, 2 * HOUR_MS, 3 * HOUR_MS])
    assert curve.efc_at(at).tolist() == pytest.approx([0, 0, 0.25, 0.5, 0.5], abs=3e-3)
    assert curve.discharge_wh_at(at)[2:4].tolist() == pytest.approx([0, 5200], abs=90)


# battery-data-toolkit 0.4.6, p492: its cycler counted 0.02187029 Ah in and 0.02173834 Ah out.
def test_a_cell_on_a_cycler() -> None:
    data = {name: np.array(column) for name, column in cycler("p492_cycle2.csv").items()}
    at_ms = np.round(data["time_s"] * 1000).astype(np.int64)
    first = np.append(True, np.diff(at_ms) > 0)
    history = PackHistory(
        at_ms=at_ms[first],
        voltage_v=data["voltage_v"][first],
        current_a=data["current_a"][first] * 1000,  # its milliamperes as amperes, to be no noise
        temperature_c=np.full(int(first.sum()), 25.0),
        step_s=float(np.median(np.diff(at_ms[first]))) / 1000,
        rated_ah=0.02173834 * 1000,
        cells=1,
    )
    result = throughput(throughput_curve(history))
    assert _value(result, "charge_ah") == pytest.approx(21.87029, rel=3e-3)  # uneven steps, held
    assert _value(result, "discharge_ah") == pytest.approx(21.73834, rel=3e-3)  # uneven steps, held
    assert _value(result, "efc") == pytest.approx(1.003, abs=2e-3)


def test_the_offset_is_taken_off_and_noise_around_rest_is_nothing() -> None:
    # 20 A in and out for an hour, ten hours of rest, read 0.2 A too high with noise of 0.05 A.
    noise = np.random.default_rng(3).normal(0.2, 0.05, 720)
    truth = np.concatenate([np.full(60, 20.0), np.full(60, -20.0), np.zeros(600)])
    history = pack_record((truth + noise).tolist())
    blind = throughput(throughput_curve(history))
    seen = throughput(throughput_curve(history, offset_at=lambda at: np.full(at.size, 0.2)))
    assert _value(seen, "charge_ah") == pytest.approx(20.0, abs=0.02)
    assert _value(seen, "discharge_ah") == pytest.approx(20.0, abs=0.02)
    assert _value(blind, "charge_ah") == pytest.approx(22.2, abs=0.05)  # 20 and 11 h of 0.2 A
    # Without an offset the interval allows for it, and holds the truth.
    assert blind.charge_ah.low is not None
    assert blind.charge_ah.low < 20.0
    assert (blind.offset_removed, seen.offset_removed) == (False, True)


def test_the_worked_example_of_the_page() -> None:
    # An hour at 20.1 A less 0.1 A, then two hours of silence in which 1059 Wh were counted.
    at_ms = [minute * 60_000 for minute in range(60)] + [3 * HOUR_MS]
    history = pack_record([20.1] * 60 + [0.1], at_ms=at_ms)
    counters = EnergyCounters(
        at_ms=np.array([0, HOUR_MS, 3 * HOUR_MS]),
        charge_wh=np.array([500.0, 1540.0, 2599.2]),
        discharge_wh=np.array([700.0, 700.0, 700.0]),
    )
    curve = throughput_curve(history, offset_at=lambda at: np.full(at.size, 0.1), counters=counters)
    result = throughput(curve)
    # The counter's last reading before the break is the first one: 2099.2 Wh / 52.96 V in all.
    assert _value(result, "charge_ah") == pytest.approx(2099.2 / (16 * 3.31))
    assert _value(result, "discharge_ah") == 0.0
    assert result.efc.coverage_ratio == 1.0
    assert result.filled_ratio == pytest.approx(120 / 181, abs=0.01)


def _year() -> tuple[Instants, Floats, Floats]:
    """A year of minutes: charged by day, drawn by night, rest between; amperes and volts."""
    minutes = np.arange(365 * 1440)
    hour = minutes / 60 % 24
    day = minutes // 1440
    rng = np.random.default_rng(11)
    size = rng.uniform(0.4, 1.0, 365)[day]
    current = np.where((hour > 9) & (hour < 15), 30 * size, 0.0)
    current = np.where(
        (hour > 18) | (hour < 4), -17.5 * size * rng.uniform(0.8, 1.2, hour.size), current
    )
    return minutes * 60_000, current, 52.96 + 0.012 * current


def test_a_year_with_offset_noise_and_gaps_is_right_to_a_tenth_of_a_percent() -> None:
    at_ms, current, volts = _year()
    truth = float(np.sum(np.abs(current))) / 60 / 400
    rng = np.random.default_rng(12)
    read = np.round(current + 0.25 + rng.normal(0, 0.05, current.size), 2)
    whole = replace(pack_record(read.tolist()), voltage_v=volts)
    counted_w = volts * read
    # What the battery counts goes on while nobody reads it, in steps of 100 Wh.
    counters = EnergyCounters(
        at_ms=at_ms[::10],
        charge_wh=np.floor(np.cumsum(np.maximum(counted_w, 0.0))[::10] / 6000) * 100,
        discharge_wh=np.floor(np.cumsum(np.maximum(-counted_w, 0.0))[::10] / 6000) * 100,
    )
    history = whole
    for start in rng.integers(0, 360 * 24, 25):
        history = without(
            history, from_ms=int(start) * HOUR_MS, to_ms=int(start + rng.integers(2, 20)) * HOUR_MS
        )
    kept = history.at_ms.size / at_ms.size
    assert kept < 0.98
    curve = throughput_curve(
        history, offset_at=lambda at: np.full(at.size, 0.25), counters=counters
    )
    result = throughput(curve)
    assert _value(result, "efc") == pytest.approx(truth, rel=1e-3)
    assert result.efc.coverage_ratio == pytest.approx(1.0)
    assert result.filled_ratio == pytest.approx(1 - kept, abs=1e-3)
    # Half of the year is done after half of it, whatever was lost.
    half = float(np.sum(np.abs(current[: current.size // 2]))) / 60 / 400
    assert curve.efc_at(np.array([365 * DAY_MS // 2]))[0] == pytest.approx(half, rel=4e-3)
    # Without the counters it is low by what is missing, and the interval still holds the truth.
    empty = throughput(throughput_curve(history, offset_at=lambda at: np.full(at.size, 0.25)))
    assert _value(empty, "efc") < 0.99 * truth
    assert empty.efc.coverage_ratio == pytest.approx(kept, abs=1e-3)
    assert empty.efc.high is not None
    assert empty.efc.high > truth


def test_a_missing_voltage_counts_as_the_usual_one() -> None:
    history = pack_record([60.0, 60.0], voltage_v=[float("nan"), 52.0])
    result = throughput(throughput_curve(history))
    assert _value(result, "charge_wh") == pytest.approx(3.31 * 16 + 52)


def test_a_missing_current_is_a_longer_step() -> None:
    result = throughput(throughput_curve(pack_record([60.0, float("nan"), 30.0])))
    # A minute at 60 A, one at (60 + 30) / 2, one at 30.
    assert _value(result, "charge_ah") == pytest.approx(1.0 + 0.75 + 0.5)


def test_without_current_nothing_is_given() -> None:
    curve = throughput_curve(pack_record([float("nan")] * 3))
    result = throughput(curve)
    assert result.efc.value is None
    assert result.efc.reason == "no current was measured"
    assert curve.efc_at(np.array([0, 1])).tolist() == [0.0, 0.0]
    assert result.filled_ratio == 0.0


def test_a_battery_at_rest_goes_through_nothing() -> None:
    result = throughput(throughput_curve(pack_record([0.1, -0.1, 0.05])))
    assert _value(result, "efc") == 0.0


@pytest.mark.parametrize(("rated_ah", "cells"), [(0.0, 16), (float("nan"), 16), (200.0, 0)])
def test_a_pack_is_above_zero(rated_ah: float, cells: int) -> None:
    with pytest.raises(ValueError, match="above zero"):
        throughput_curve(pack_record([1.0], rated_ah=rated_ah, cells=cells))
