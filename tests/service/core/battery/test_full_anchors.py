"""When a battery was full: on made-up packs whose timetable is known to the minute."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.battery.full_anchors import (
    ChargeVoltage,
    FullCharges,
    charge_voltage,
    full_charges,
    full_to_full,
)
from joulebook.core.history import Floats, Instants, PackHistory
from tests.helpers.cycled_packs import START_MS, cycled_pack

HOUR_MS = 3_600_000


def _full(history: PackHistory) -> FullCharges:
    held = charge_voltage(history)
    assert held is not None
    return full_charges(history, count_charge(history), held)


def _hours_of_day(history: PackHistory, rows: Instants) -> Floats:
    return (history.at_ms[rows] - START_MS) / HOUR_MS % 24


@pytest.mark.parametrize("charge_v", [3.40, 3.45, 3.50, 3.55, 3.65])
@pytest.mark.parametrize("cells", [15, 16])
def test_the_charge_voltage_is_found(charge_v: float, cells: int) -> None:
    held = charge_voltage(cycled_pack(12, charge_v=charge_v, cells=cells, noise_v=0.01))
    assert held is not None
    # The highest of hundreds of readings with 10 mV of noise is some 30 mV above their mean.
    assert held.level_v == pytest.approx(charge_v * cells, abs=0.05)
    assert abs(held.shift_v) < 0.001
    assert held.day.tolist() == list(range(START_MS // 86_400_000, START_MS // 86_400_000 + 12))


@pytest.mark.parametrize("step_s", [10, 60, 300])
def test_full_starts_when_the_current_died_away_and_ends_with_the_load(step_s: int) -> None:
    history = cycled_pack(10, step_s=step_s)
    full = _full(history)
    assert full.first.size == full.last.size == 10
    # From 12:00 on the current falls by a third each minute, from some 14 A to 0.7 A.
    assert (_hours_of_day(history, full.first) > 12.0).all()
    assert (_hours_of_day(history, full.first) <= 12.35).all()
    assert (np.abs(history.current_a[full.first]) <= 0.7).all()
    assert _hours_of_day(history, full.last) == pytest.approx(np.full(10, 16 - step_s / 3600))


@pytest.mark.parametrize("offset_a", [-1.0, -0.3, 0.0, 0.3, 1.0])
def test_an_offset_neither_hides_full_nor_moves_it(offset_a: float) -> None:
    history = cycled_pack(10, offset_a=offset_a)
    full = _full(history)
    # Nothing is lost in this pack, and 0.2 % of 181 Ah in 20 hours are taken for lost: -0.018 A.
    assert full.offset_a == pytest.approx(offset_a - 0.018, abs=0.005)
    plain = _full(cycled_pack(10))
    assert full.first.tolist() == plain.first.tolist()
    assert full.last.tolist() == plain.last.tolist()


def test_balances_from_the_end_of_full_to_the_end_of_the_next() -> None:
    history = cycled_pack(10, offset_a=0.3)
    counter = count_charge(history)
    full = _full(history)
    closing = full_to_full(history, counter, full, np.linspace(10, 20, history.at_ms.size))
    assert closing.hours.size == 9
    hours = (closing.to_ms - closing.from_ms) / HOUR_MS
    assert closing.hours == pytest.approx(hours)
    # All that went out came back .
    assert closing.change_ah == pytest.approx(0.3 * hours, abs=0.05)
    # 180 Ah, and 0.3 A in the nine hours from 07:00 on.
    assert closing.charged_ah == pytest.approx(np.full(9, 180 + 0.3 * 9), abs=0.1)
    assert (np.diff(closing.from_c) > 0).all()
    assert (closing.to_c > closing.from_c).all()


def test_two_full_charges_a_day_are_two() -> None:
    once = cycled_pack(16)
    # The same record at double speed.
    history = replace(once, at_ms=START_MS + (once.at_ms - START_MS) // 2, step_s=30.0)
    assert _full(history).first.size == 16
    assert (history.at_ms[-1] - START_MS) / HOUR_MS < 8 * 24


def test_a_little_drawn_does_not_end_a_full_charge() -> None:
    assert _full(cycled_pack(10, lowest=0.975)).first.size == 1
    assert _full(cycled_pack(10, lowest=0.95)).first.size == 10


def test_a_break_ends_it() -> None:
    history = cycled_pack(10)
    hours = (history.at_ms - START_MS) / HOUR_MS
    seen = (hours < 5 * 24 + 13) | (hours > 5 * 24 + 15)
    cut = replace(
        history,
        at_ms=history.at_ms[seen],
        voltage_v=history.voltage_v[seen],
        current_a=history.current_a[seen],
        temperature_c=history.temperature_c[seen],
    )
    full = _full(cut)
    assert full.first.size == 11
    # And no balance goes across.
    assert full_to_full(cut, count_charge(cut), full, cut.temperature_c).hours.size == 9


def test_a_single_reading_is_not_held() -> None:
    history = cycled_pack(10)
    high = history.voltage_v > 3.48 * 16
    once = np.zeros_like(high)
    once[np.flatnonzero(np.diff(high.astype(int), prepend=0) == 1) + 30] = True
    alone = replace(history, voltage_v=np.where(high & ~once, 53.6, history.voltage_v))
    held = charge_voltage(alone)
    assert held is not None
    assert full_charges(alone, count_charge(alone), held).first.size == 0


def test_never_full_is_never_held() -> None:
    history = cycled_pack(10)
    low = replace(history, voltage_v=np.minimum(history.voltage_v, 53.5))
    assert charge_voltage(low) is None
    assert charge_voltage(cycled_pack(4)) is None


def _moved(*, days: int, from_day: int, by_v: float) -> PackHistory:
    """A pack whose charge voltage was moved."""
    history = cycled_pack(days)
    later = history.at_ms >= START_MS + from_day * 24 * HOUR_MS
    held = history.voltage_v > 3.48 * 16
    return replace(history, voltage_v=history.voltage_v + np.where(later & held, by_v * 16, 0.0))


@pytest.mark.parametrize("by_v", [-0.05, 0.05])
def test_a_charge_voltage_that_was_moved_is_followed_and_told(by_v: float) -> None:
    history = _moved(days=60, from_day=30, by_v=by_v)
    held = charge_voltage(history)
    assert held is not None
    assert held.shift_v == pytest.approx(by_v, abs=0.001)
    full = full_charges(history, count_charge(history), held)
    # Days around the change are lost, for the higher level is taken for the usual one.
    assert 50 <= full.first.size <= 60
    assert _hours_of_day(history, full.last) == pytest.approx(np.full(full.first.size, 16 - 1 / 60))


def test_days_that_came_near_but_not_full_do_not_count() -> None:
    history = cycled_pack(30)
    day = (history.at_ms - START_MS) // (24 * HOUR_MS)
    poor = (day % 2 == 1) & (history.voltage_v > 3.39 * 16)
    some = replace(history, voltage_v=np.where(poor, 3.39 * 16, history.voltage_v))
    held = charge_voltage(some)
    assert held is not None
    assert held.level_v == pytest.approx(np.full(30, 3.5 * 16))
    assert full_charges(some, count_charge(some), held).first.size == 15


def test_nothing_near_full_after_all() -> None:
    history = cycled_pack(10)
    held = charge_voltage(history)
    assert held is not None
    higher = ChargeVoltage(day=held.day, level_v=held.level_v + 1, shift_v=0.0)
    full = full_charges(history, count_charge(history), higher)
    assert (full.first.size, full.last.size, full.offset_a) == (0, 0, 0.0)
