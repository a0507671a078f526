"""Values of rules by arithmetic that stands beside them."""

import numpy as np
import pytest

from joulebook.core.alerts.evidence import (
    days_since_full,
    idle_jump_w,
    quiet_spread_mv,
    round_trip_drop_percent,
)
from joulebook.core.losses.full_segments import SegmentSums
from joulebook.core.losses.rest_zero import RestBlocks

DAY_MS = 86_400_000
NONE = np.empty(0)


def segments(ratios: list[float], broken: int = 0) -> SegmentSums:
    """One stretch a day, 10 kWh in, the last one ended now; the first ``broken`` are broken."""
    count = len(ratios)
    to_ms = (np.arange(count, dtype=np.int64) + 1) * DAY_MS
    zeros = np.zeros(count)
    return SegmentSums(
        from_ms=to_ms - DAY_MS,
        to_ms=to_ms,
        from_c=zeros,
        to_c=zeros,
        charge_wh=np.full(count, 10_000.0),
        discharge_wh=10_000.0 * np.array(ratios),
        charge_ah=zeros,
        discharge_ah=zeros,
        charging_h=zeros,
        discharging_h=zeros,
        charging_vh=zeros,
        discharging_vh=zeros,
        covered_h=zeros,
        broken=np.arange(count) < broken,
        rest=RestBlocks(at_ms=NONE.astype(np.int64), current_a=NONE, spread_a=NONE, step_a=0.0),
    )


def test_idle_draw_that_rose_by_20_w_in_steady_nights_is_a_jump_of_20() -> None:
    assert idle_jump_w([40.0] * 28 + [60.0] * 7) == pytest.approx(20.0)


def test_the_scatter_of_nights_is_taken_off() -> None:
    # Before: half 38, half 42; median 40, deviation 2. 2.5 · 1.4826 · 2 / sqrt(7) = 2.80.
    before = [38.0, 42.0] * 14
    assert idle_jump_w([*before, *[60.0] * 7]) == pytest.approx(20 - 2.802, abs=0.001)


def test_few_nights_tell_no_jump() -> None:
    assert idle_jump_w([40.0] * 28 + [None, 60.0, None, 60.0, None, 60.0, None]) is None
    assert idle_jump_w([40.0] * 11 + [60.0] * 7) is None
    assert idle_jump_w([]) is None


def test_a_round_trip_that_fell_from_97_to_95_is_a_drop_of_2() -> None:
    days = segments([0.97] * 60 + [0.95] * 28)
    assert round_trip_drop_percent(days, 88 * DAY_MS) == pytest.approx(2.0)


def test_broken_stretches_and_those_of_later_do_not_count() -> None:
    assert (
        round_trip_drop_percent(segments([0.97] * 60 + [0.95] * 28, broken=40), 88 * DAY_MS) is None
    )
    # Seen on day 70: ten days of the new kind and eighteen of the old are now.
    seen = round_trip_drop_percent(segments([0.97] * 60 + [0.95] * 28), 70 * DAY_MS)
    assert seen == pytest.approx(0.0)
    assert round_trip_drop_percent(segments([0.97] * 11), 11 * DAY_MS) is None


def test_days_since_full_are_told_of_a_battery_that_used_to_be_full() -> None:
    daily = np.arange(30, dtype=np.int64) * DAY_MS
    assert days_since_full(daily, 40 * DAY_MS) == pytest.approx(11.0)
    seldom = np.arange(3, dtype=np.int64) * 20 * DAY_MS
    assert days_since_full(seldom, 90 * DAY_MS) is None
    assert days_since_full(daily, -1) is None


def test_the_spread_is_that_of_quiet_cells_in_the_middle() -> None:
    spread = np.array([0.010] * 25 + [0.200] * 25 + [np.nan] * 5)
    volts = np.array([3.30] * 25 + [3.50] * 25 + [3.30] * 5)
    amps = np.array([1.0] * 55)
    assert quiet_spread_mv(spread, volts, amps) == pytest.approx(10.0)
    assert quiet_spread_mv(spread, volts, amps * 20) is None
