"""A whole record measured at once: what is found, what is flagged, and that nothing breaks it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.battery.anchors import Measured, measure
from joulebook.core.battery.nights import night_list
from joulebook.core.battery.resistance import PackResistance
from joulebook.core.estimate import Estimate
from tests.helpers.cycled_packs import RESISTANCE_OHM, START_MS, cycled_pack
from tests.helpers.deep_nights import kept

HOUR_MS = 3_600_000


def _resistance(measured: Measured) -> PackResistance:
    assert isinstance(measured.resistance, PackResistance)
    return measured.resistance


@pytest.mark.parametrize("step_s", [10, 60, 300])
def test_a_good_record(step_s: int) -> None:
    measured = measure(cycled_pack(25, step_s=step_s, offset_a=0.2, noise_v=0.01))
    assert measured.flags == ()
    # The last night is still going on when the record ends.
    assert [bool(why) for why in measured.reasons] == [False] * 24 + [True]
    assert _resistance(measured).terms[0] == pytest.approx(RESISTANCE_OHM, rel=0.03)
    assert measured.offset_a == pytest.approx(0.18, abs=0.02)
    assert measured.held is not None
    evidence = measured.evidence
    assert (evidence.lows, evidence.lows_in_6_months, evidence.lows_in_15_months) == (24, 24, 24)
    assert (evidence.deep_lows, evidence.closings) == (0, 24)
    assert evidence.median_x_low == pytest.approx(0.10, abs=0.01)
    assert evidence.shift_v == pytest.approx(0, abs=0.002)
    hours = (measured.low_ms - measured.full_ms) / HOUR_MS
    assert hours[:-1] == pytest.approx(np.full(24, 15.5), abs=0.6)
    assert measured.x_low[:-1] == pytest.approx(np.full(24, 0.10), abs=0.01)


def test_deep_nights_are_counted() -> None:
    evidence = measure(cycled_pack(12, lowest=0.05)).evidence
    assert evidence.deep_lows == evidence.lows == 11


def test_lows_are_counted_by_the_age_of_the_record() -> None:
    history = cycled_pack(20)
    # Ten days, then more than six months of nothing, then ten days.
    later = np.where(np.arange(history.at_ms.size) < 14_400, 0, 200 * 24 * HOUR_MS)
    evidence = measure(replace(history, at_ms=history.at_ms + later)).evidence
    assert (evidence.lows, evidence.lows_in_6_months, evidence.lows_in_15_months) == (18, 9, 18)


def test_without_any_temperature_25_degrees_are_assumed_and_said() -> None:
    history = cycled_pack(8)
    silent = replace(history, temperature_c=np.full(history.at_ms.size, np.nan))
    measured = measure(silent)
    assert measured.flags == ("no temperature was read; 25 °C is assumed throughout",)
    assert (measured.balances.full_to_low.low_c == 25).all()
    plain = measure(history).balances.full_to_low
    assert measured.balances.full_to_low.x_low == pytest.approx(plain.x_low)


def test_a_hole_in_the_temperature_is_bridged() -> None:
    history = cycled_pack(8)
    temperature_c = np.linspace(5, 15, history.at_ms.size)
    holes = temperature_c.copy()
    holes[3000:6000] = np.nan
    some = measure(replace(history, temperature_c=holes)).balances.full_to_low
    full = measure(replace(history, temperature_c=temperature_c)).balances.full_to_low
    assert some.low_c == pytest.approx(full.low_c)


def test_without_load_steps_only_quiet_nights_count() -> None:
    history = cycled_pack(8)
    # A steady load: no step of 8 A anywhere.
    smooth = np.convolve(np.pad(history.current_a, 30, mode="edge"), np.ones(61) / 61, "valid")
    measured = measure(replace(history, current_a=smooth))
    assert isinstance(measured.resistance, Estimate)
    assert any("the pack's resistance is not known (only" in flag for flag in measured.flags)
    # The hour before the morning is quiet enough for 3 % of the rated charge an hour.
    assert measured.evidence.lows > 0
    assert (measured.balances.full_to_low.current_a > -6).all()


@pytest.mark.parametrize("rows", [slice(0, 0), slice(0, 1), slice(0, 2), slice(0, 1440)])
def test_hardly_any_record_is_no_failure(rows: slice) -> None:
    measured = measure(kept(cycled_pack(2), rows))
    assert measured.reasons == ()
    assert measured.balances.full_to_full.hours.size == 0
    assert measured.balances.full_to_low.low_ms.size == 0
    assert measured.balances.low_to_full.full_ms.size == 0
    assert measured.held is None
    assert measured.evidence.median_x_low is None
    assert measured.evidence.shift_v is None
    assert "the battery was never seen being held full on five days or more" in measured.flags


@pytest.mark.parametrize("name", ["voltage_v", "current_a"])
def test_a_quantity_that_is_missing_everywhere_is_no_failure(name: str) -> None:
    history = cycled_pack(8)
    getattr(history, name)[:] = np.nan
    measured = measure(history)
    assert measured.evidence.lows == 0
    assert isinstance(measured.resistance, Estimate)


@pytest.mark.parametrize("name", ["voltage_v", "current_a"])
def test_stretches_without_a_quantity_cost_their_nights_only(name: str) -> None:
    history = cycled_pack(10)
    hours = (history.at_ms - START_MS) / HOUR_MS
    # The fourth night, from 22:00 to the morning.
    getattr(history, name)[(hours > 3 * 24 + 22) & (hours < 4 * 24 + 9)] = np.nan
    measured = measure(history)
    counted = np.array([not why for why in measured.reasons])
    assert counted.tolist() == [True] * 3 + [False] + [True] * 5 + [False]
    assert measured.balances.full_to_low.x_low == pytest.approx(np.full(8, 0.1), abs=0.01)


def test_months_of_nothing_do_no_harm() -> None:
    history = cycled_pack(20)
    silent = np.arange(history.at_ms.size) > 14_000
    history.voltage_v[silent] = np.nan
    history.current_a[silent] = np.nan
    later = np.where(silent, 90 * 24 * HOUR_MS, 0)
    assert measure(replace(history, at_ms=history.at_ms + later)).evidence.lows == 9


def test_a_voltmeter_that_is_far_off_is_told() -> None:
    measured = measure(cycled_pack(8, zero_v=0.03))
    assert measured.zero_v == 0.015
    assert any("off by 15 mV a cell or more: check it" in flag for flag in measured.flags)


def test_a_zero_that_cannot_be_read_is_told() -> None:
    measured = measure(cycled_pack(8, lowest=0.93))
    assert measured.zero_v is None
    assert "the voltmeter's zero could not be read on the upper plateau" in measured.flags


def test_a_charge_voltage_that_was_moved_is_told() -> None:
    history = cycled_pack(40)
    later = np.arange(history.at_ms.size) > 20 * 1440
    history.voltage_v[later & (history.voltage_v > 3.48 * 16)] -= 0.05 * 16
    measured = measure(history)
    assert measured.evidence.shift_v == pytest.approx(-0.05, abs=0.002)
    assert any("moved by -50 mV a cell" in flag for flag in measured.flags)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["rows", "voltage_v", "current_a", "temperature_c", "stuck", "turned"]),
            st.integers(0, 2000),
            st.integers(1, 1200),
        ),
        max_size=5,
    ),
    st.floats(3.36, 3.65),
    st.floats(0.0, 0.95),
)
def test_no_fault_of_the_readings_breaks_it(
    faults: list[tuple[str, int, int]], charge_v: float, lowest: float
) -> None:
    history = cycled_pack(7, step_s=300, charge_v=charge_v, lowest=lowest)
    kept = np.ones(history.at_ms.size, dtype=bool)
    for kind, start, length in faults:
        rows = slice(start, start + length)
        if kind == "rows":
            kept[rows] = False
        elif kind == "stuck":
            history.voltage_v[rows] = history.voltage_v[start]
        elif kind == "turned":
            history.current_a[rows] *= -1
        else:
            getattr(history, kind)[rows] = np.nan
    some = replace(
        history,
        at_ms=history.at_ms[kept],
        voltage_v=history.voltage_v[kept],
        current_a=history.current_a[kept],
        temperature_c=history.temperature_c[kept],
    )
    measured = measure(some)
    balances = measured.balances
    assert len(measured.reasons) == measured.full.last.size == len(night_list(measured).nights)
    assert balances.full_to_low.low_ms.size == measured.reasons.count("")
    for part in (balances.full_to_full, balances.full_to_low, balances.low_to_full):
        assert all(np.isfinite(getattr(part, name)).all() for name in part.__slots__)
        assert (part.hours > 0).all()
    assert (balances.low_to_full.returned_ah > 0).all()


def test_fifteen_cells_and_a_low_charge_voltage() -> None:
    measured = measure(cycled_pack(10, cells=15, charge_v=3.40))
    assert measured.evidence.lows == 9
    assert measured.balances.cells == 15
