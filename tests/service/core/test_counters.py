"""Counters. Values are own arithmetic; the wrap rule of a 32-bit counter is RFC 2578 §7.1.6."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.counters import CounterRise, counter_rise

#: The registers of CV-70 to 74: tenths of a kWh, read every minute, at most 12 kW.
MAX_POWER_W, WH_PER_COUNT = 12_000.0, 100.0


def _rise(raw: list[float], bits: int | None = 32, step_s: int = 60) -> CounterRise:
    return counter_rise(
        np.arange(len(raw), dtype=np.int64) * step_s * 1000,
        np.array(raw, dtype=np.float64),
        max_power_w=MAX_POWER_W,
        wh_per_count=WH_PER_COUNT,
        bits=bits,
        resolution=1.0,
    )


def test_a_quiet_counter_rises_by_its_ends() -> None:
    assert _rise([1000, 1001, 1001, 1003]) == CounterRise(energy_wh=300.0)


# CV-70: 4294967290 to 2³²-1 are 5, on to 0 is 1, on to 4 are 4: 10 counts of 100 Wh. At one
# reading in six minutes, for 12 kW are 2 counts a minute.
def test_a_32_bit_counter_wraps() -> None:
    assert _rise([4_294_967_290, 4], step_s=360) == CounterRise(energy_wh=1000.0, wraps=1)


# CV-70b: 65530 to 65535 are 5, on to 0 is 1, on to 3 are 3.
def test_a_16_bit_counter_wraps() -> None:
    assert _rise([65_530, 3], bits=16, step_s=360) == CounterRise(energy_wh=900.0, wraps=1)


# CV-71: back to zero at night, then 5 counts; as a wrap it would be 429 496 606.7 kWh.
def test_a_reset_is_no_wrap_and_leaves_a_lower_bound() -> None:
    rise = _rise([1234, 0, 5], step_s=180)
    assert rise == CounterRise(energy_wh=500.0, resets=1, lower_bound=True)


# CV-71b: with 12 kW and 60 s a step may be 200 Wh (2 counts) and one count of rounding.
@pytest.mark.parametrize(("after", "wraps"), [(0, 1), (1, 1), (2, 0)])
def test_a_fall_is_a_wrap_only_if_the_step_is_plausible(after: int, wraps: int) -> None:
    rise = _rise([2**32 - 2, after, after])
    assert (rise.wraps, rise.resets) == (wraps, 1 - wraps)


# CV-72: its last digit flickers; 2 counts, where adding up every rise gives 3.
def test_a_dip_holds_the_highest_reading() -> None:
    assert _rise([1000, 1001, 1000, 1001, 1002]) == CounterRise(energy_wh=200.0, dips=1)


# CV-74: 0000FFFF, torn read 0001FFFF, then 00010000: one count.
def test_a_torn_read_is_left_out() -> None:
    rise = _rise([0x0000FFFF, 0x0001FFFF, 0x00010000])
    assert rise == CounterRise(energy_wh=100.0, rejected=1)


def test_a_torn_read_downward_is_left_out_too() -> None:
    rise = _rise([0x0001FFFF, 0x0000FFFF, 0x00020000])
    assert rise == CounterRise(energy_wh=100.0, rejected=1)


def test_a_burst_above_the_plausible_is_counted_once_the_time_allows() -> None:
    # 4 counts in a minute are too much for 12 kW, 5 in two minutes are not.
    assert _rise([1000, 1004, 1005]) == CounterRise(energy_wh=500.0, rejected=1)


def test_a_jump_that_stays_is_another_counter() -> None:
    rise = _rise([1000, 900_000, 900_001])
    assert rise == CounterRise(energy_wh=100.0, resets=1, lower_bound=True)


def test_a_strange_last_reading_waits_for_the_next() -> None:
    assert _rise([1000, 1001, 7]) == CounterRise(energy_wh=100.0, rejected=1, lower_bound=True)


def test_watt_hours_off_the_wire_have_no_end_to_wrap_at() -> None:
    # Steps of 0.5 Wh: 10.0 to 11.5 is 1.5; a fall of 0.5 is a dip, to 0.5 a reset that counted 0.5.
    at_ms = np.arange(6, dtype=np.int64) * 60_000
    raw = np.array([10.0, 10.5, 10.0, 11.5, 0.5, 1.0])
    assert counter_rise(at_ms, raw) == CounterRise(
        energy_wh=2.5, dips=1, resets=1, lower_bound=True
    )


def test_a_missing_reading_is_passed_over() -> None:
    at_ms = np.arange(3, dtype=np.int64) * 60_000
    assert counter_rise(at_ms, np.array([5.0, np.nan, 7.0])).energy_wh == 2.0


@pytest.mark.parametrize(
    ("raw", "words"), [([np.nan, np.nan], "without readings"), ([1.0], "2 instants, but 1")]
)
def test_readings_must_make_sense(raw: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        counter_rise(np.array([0, 60_000]), np.array(raw))


def test_one_reading_is_no_rise() -> None:
    assert counter_rise(np.array([0]), np.array([5.0])) == CounterRise(energy_wh=0.0)


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.integers(0, 2), min_size=1, max_size=60),
    st.integers(0, 2**16 - 1),
    st.data(),
)
def test_a_true_rise_is_found_through_wraps_and_dips(
    steps: list[int], start: int, data: st.DataObject
) -> None:
    true = start + np.concatenate([[0], np.cumsum(steps)])
    shown = true.copy()
    for place in range(1, len(shown) - 1):
        if data.draw(st.integers(0, 9)) == 0:
            shown[place] = max(shown[place] - 1, true[0])
    rise = _rise((shown % 2**16).tolist(), bits=16)
    assert rise.energy_wh == (true[-1] - true[0]) * WH_PER_COUNT
    assert not rise.lower_bound
