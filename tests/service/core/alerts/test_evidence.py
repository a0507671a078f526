"""Values of rules by arithmetic that stands beside them."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from joulebook.core.alerts.evidence import (
    common_slope,
    days_since_full,
    idle_jump_w,
    quiet_spread_mv,
    round_trip_drop_percent,
)
from joulebook.core.daily.conversion import NightSums
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


def night(load_w: float, loss_w: float, hours: float = 5.0) -> NightSums:
    """A night on battery with this mean load and loss."""
    return NightSums(dc_wh=(load_w + loss_w) * hours, ac_wh=load_w * hours, hours=hours)


def nights(loss_w: float, count: int, *, load_w: float = 800.0) -> list[NightSums]:
    """So many nights; every second one has 400 W more load, of which 5 % are lost."""
    return [
        night(load_w + extra, loss_w + 0.05 * (load_w + extra))
        for extra in (0.0, 400.0) * (count // 2)
    ]


def test_a_loss_that_rose_by_20_w_in_steady_nights_is_a_jump_of_20() -> None:
    assert idle_jump_w([*nights(40, 28), *nights(60, 14)]) == pytest.approx(20.0)


def test_a_load_that_rose_is_no_jump() -> None:
    # 600 W more load lose 30 W more, on the same line: 5 % of it, and the inverter takes the same.
    assert idle_jump_w([*nights(40, 28), *nights(40, 14, load_w=1400)]) == pytest.approx(0.0)
    assert idle_jump_w([*nights(40, 28), *nights(60, 14, load_w=1400)]) == pytest.approx(20.0)


def test_the_slope_is_that_of_the_pairs_that_lie_furthest_apart() -> None:
    # One side with loads 0, 1, 2 and 10: the six slopes in order, with their weights, are
    # 0 (1), 0 (2), 0 (1), 1/10 (10), 1/9 (9), 1/8 (8). Half of 31 falls on 1/9.
    side = np.array([0.0, 1.0, 2.0, 10.0]), np.array([0.0, 0.0, 0.0, 1.0])
    assert common_slope([side]) == pytest.approx(1 / 9)
    # With all pairs of one length it is the plain median, as scipy has it.
    x, y = np.array([0.0, 5.0] * 4), np.array([0.0, 1.0, 0.3, 1.9, 0.1, 1.2, 0.4, 1.4])
    assert common_slope([(x, y)]) == pytest.approx(theilslopes(y, x).slope)


def test_the_scatter_of_nights_is_taken_off() -> None:
    # The newer ones: half 58, half 62; median 60, deviation 2. 2.5 · 1.4826 · 2 / sqrt(14) = 1.98.
    # All with one load, so that no pair tells a slope.
    before = [night(800, 40)] * 28
    now = [night(800, watts) for watts in (58, 62) * 7]
    assert idle_jump_w([*before, *now]) == pytest.approx(20 - 1.981, abs=0.001)
    assert idle_jump_w([*([night(800, 38), night(800, 42)] * 14), *([night(800, 60)] * 14)]) == (
        pytest.approx(20 - 1.981, abs=0.001)
    )


def test_few_or_short_nights_tell_no_jump() -> None:
    before, now = [night(800, 40)] * 28, [night(800, 60)] * 14
    assert idle_jump_w([*before, *([None] * 6), *now[:8]]) == pytest.approx(20.0)
    assert idle_jump_w([*before, *([None] * 7), *now[:7]]) is None
    assert idle_jump_w([*before, *now[:7], *([night(800, 60, hours=0.9)] * 7)]) is None
    assert idle_jump_w([*before[:11], *now]) is None
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
