"""Energy counters beside integrals: those fed by the same sensor carry its offset."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.history import Floats
from joulebook.core.losses.counter_check import CounterCheck, counter_check
from joulebook.core.losses.full_segments import segment_sums
from joulebook.core.losses.full_windows import full_round_trips
from joulebook.core.outlook.counter_fill import EnergyCounters
from joulebook.core.spans import Span
from tests.helpers.full_cycles import DAY_MS, START_MS, FullCycles, constant_offset, full_cycles

DAYS = 20


def _counted(cycles: FullCycles, offset_a: float) -> EnergyCounters:
    """Counters that add up what a sensor with this much more offset would see."""
    history = cycles.history
    energy = history.voltage_v * (history.current_a + offset_a) * (300 / 3600)
    before = energy[:-1]
    return EnergyCounters(
        at_ms=history.at_ms,
        charge_wh=5000 + np.append(0, np.cumsum(np.maximum(before, 0))),
        discharge_wh=7000 + np.append(0, np.cumsum(np.maximum(-before, 0))),
    )


def _check(cycles: FullCycles, counted: EnergyCounters, days: int = DAYS) -> CounterCheck | None:
    offset = constant_offset(0.0)
    span = Span(START_MS, START_MS + days * DAY_MS)
    [window] = full_round_trips(cycles.history, cycles.between, [span], offset=offset)
    return counter_check(window, segment_sums(cycles.history, cycles.between, offset), counted)


def test_counters_that_agree_raise_no_alarm() -> None:
    cycles = full_cycles(DAYS)
    check = _check(cycles, _counted(cycles, 0.0))
    assert check is not None
    assert check.segments == DAYS
    assert check.counted_charge_wh == pytest.approx(cycles.charge_wh)
    assert check.counted_discharge_wh == pytest.approx(cycles.discharge_wh)
    assert check.charge_wh == pytest.approx(cycles.charge_wh, rel=1e-3)
    assert check.counted_ratio == pytest.approx(cycles.ratio)
    assert check.offset_a == pytest.approx(0.0, abs=0.005)
    assert not check.alarm


def test_counters_with_an_offset_raise_the_alarm_and_say_how_much() -> None:
    cycles = full_cycles(DAYS)
    check = _check(cycles, _counted(cycles, 0.2))
    assert check is not None
    assert check.alarm
    assert check.offset_a == pytest.approx(0.2, rel=0.05)
    assert check.counted_ratio < cycles.ratio - 0.02


def test_a_counter_that_starts_anew_or_stays_away_costs_only_its_segment() -> None:
    cycles = full_cycles(DAYS)
    counted = _counted(cycles, 0.0)
    after = np.arange(counted.at_ms.size) > 1000
    check = _check(
        cycles, replace(counted, charge_wh=counted.charge_wh - after * counted.charge_wh[1000])
    )
    assert check is not None
    assert check.segments == DAYS - 1


@pytest.mark.parametrize("shown", [np.nan, 12.0])
def test_counters_that_say_nothing(shown: float) -> None:
    cycles = full_cycles(DAYS)
    nothing: Floats = np.full(cycles.history.at_ms.size, shown)
    counted = replace(_counted(cycles, 0.0), charge_wh=nothing)
    assert _check(cycles, counted) is None


def test_no_round_trip_no_check() -> None:
    cycles = full_cycles(DAYS)
    assert _check(cycles, _counted(cycles, 0.0), days=2) is None
