"""The round trip between full charges against cyclers and batteries whose truth is known."""

import math
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.daily.efficiency import BEST_HALF_WIDTH_RATIO
from joulebook.core.history import PackHistory
from joulebook.core.losses.closing import BROKEN, CROSSING, LITTLE, OPEN, USED, WHY, Closing
from joulebook.core.losses.full_windows import FullRoundTrip, full_round_trips
from joulebook.core.spans import Span
from tests.helpers.curve_readings import cycler
from tests.helpers.full_cycles import (
    DAY_MS,
    START_MS,
    FullCycles,
    constant_offset,
    full_cycles,
    no_offset,
    segments_at,
)

#: Nothing draws behind the sensor of these batteries, and all of it is known.
EXACT = Closing(loss_u=0.0, cold_u=0.0, hidden_a=0.0, hidden_u=0.0)


def _days(first: int, last: int) -> Span:
    return Span(START_MS + first * DAY_MS, START_MS + last * DAY_MS)


def _window(
    cycles: FullCycles,
    span: Span | None = None,
    *,
    offset_a: float = 0.0,
    closing: Closing | None = None,
) -> FullRoundTrip:
    days = cycles.between.from_ms.size
    [window] = full_round_trips(
        cycles.history,
        cycles.between,
        [span or _days(0, days)],
        offset=constant_offset(offset_a),
        closing=closing,
    )
    return window


def test_a_quarter_gives_back_its_true_ratio() -> None:
    cycles = full_cycles(60, offset_a=0.25, gain=1.01, noise_a=0.05)
    window = _window(cycles, offset_a=0.2)
    assert window.ratio.value == pytest.approx(cycles.ratio, abs=6e-4)
    assert window.ratio.method == "round-trip-2"
    assert window.segments.used == 60
    assert window.hours == pytest.approx(60 * 24)
    # From noon to noon: the segments are all of the window.
    assert window.ratio.coverage_ratio == pytest.approx(1.0)
    assert window.zero is not None
    assert window.offset_a == pytest.approx(0.25, abs=0.005)
    assert window.zero.rest_a == pytest.approx(0.25, abs=0.005)
    assert window.closing_a == pytest.approx(0.05, abs=0.005)
    # An offset of 0.25 A all day long is what a plain sum would carry: several points.
    assert window.uncorrected_ratio is not None
    assert window.uncorrected_ratio < cycles.ratio - 0.03


def test_gain_cancels() -> None:
    plain, scaled = (
        _window(full_cycles(20, gain=gain), closing=EXACT).ratio.value for gain in (1.0, 1.02)
    )
    assert plain == pytest.approx(scaled, abs=1e-9)


def test_an_offset_that_drifts_is_closed_on_average() -> None:
    cycles = full_cycles(60, offset_a=-0.1, drift_a=0.1)
    assert _window(cycles).ratio.value == pytest.approx(cycles.ratio, abs=3e-4)


# CV-81c: an LFP-like cell that starts and ends empty. Its cycler counts 1.07253 Ah in and
# 1.07291 Ah out, 3.75583 and 3.26066 Wh: 0.86816. Rows 5 s apart and steps of 5.7 A, so our own
# sums are within 0.4 %. Five copies of the cycle stand for five times from full to full.
def test_a_real_cell_five_times() -> None:
    rows = cycler("arbin_lfp_cycle2.csv")
    at_ms = np.round((np.array(rows["time_s"]) - rows["time_s"][0]) * 1000).astype(np.int64)
    kept = np.append(np.diff(at_ms) > 0, True)
    at_ms = at_ms[kept]
    length = int(at_ms[-1]) + 5000
    starts = np.arange(5) * length
    warm = np.full(5, 25.0)
    history = PackHistory(
        at_ms=np.concatenate([at_ms + start for start in starts]),
        voltage_v=np.tile(np.array(rows["voltage_v"])[kept], 5),
        current_a=np.tile(np.array(rows["current_a"])[kept], 5),
        temperature_c=np.full(5 * at_ms.size, 25.0),
        step_s=5.0,
        rated_ah=1.1,
        cells=1,
    )
    between = segments_at(starts, starts + at_ms[-1], from_c=warm, to_c=warm)
    [window] = full_round_trips(
        history,
        between,
        [Span(0, 5 * length)],
        offset=no_offset(),
        closing=replace(EXACT, loss_ratio=0.0),
    )
    assert window.ratio.value == pytest.approx(0.86816, abs=0.004)
    assert window.charge_wh == pytest.approx(5 * 3.75583, rel=0.01)
    assert window.discharge_wh == pytest.approx(5 * 3.26066, rel=0.01)


def test_never_better_than_three_tenths_of_a_point() -> None:
    [window] = full_round_trips(
        *(lambda c: (c.history, c.between))(full_cycles(400, step_s=900)),
        [_days(0, 400)],
        offset=no_offset(),
        closing=EXACT,
    )
    assert window.ratio.value is not None
    assert window.ratio.low == pytest.approx(window.ratio.value - BEST_HALF_WIDTH_RATIO)
    assert window.ratio.high == pytest.approx(window.ratio.value + BEST_HALF_WIDTH_RATIO)


def test_fewer_segments_are_less_certain_and_too_few_are_refused() -> None:
    cycles = full_cycles(60)
    own = []
    for days in (60, 20, 10, 5):
        u = _window(cycles, _days(0, days)).u
        assert u is not None
        own.append(u.own)
    assert own == sorted(own)
    # From 20 to 10 the number alone is worth √2; below fifteen as much again and half.
    assert own[2] / own[1] == pytest.approx(1.5 * math.sqrt(2), rel=0.1)
    elsewhere = _window(cycles, _days(100, 200))
    assert elsewhere.segments.why.size == 0
    assert elsewhere.ratio.reason is not None
    assert elsewhere.ratio.reason.startswith("only 0 of 0 times")
    window = _window(cycles, _days(0, 4))
    assert window.offset_a is None
    assert window.ratio.value is None
    assert window.ratio.reason == (
        "only 4 of 4 times from one full charge to the next can be used here; 5 are needed"
    )


def test_segments_across_the_edge_of_a_window_belong_to_neither_side() -> None:
    cycles = full_cycles(20)
    noon = Span(START_MS, START_MS + 10 * DAY_MS + DAY_MS // 2)
    after = Span(noon.end_ms, START_MS + 20 * DAY_MS)
    left, right = (_window(cycles, span) for span in (noon, after))
    assert (left.segments.used, right.segments.used) == (10, 9)
    assert left.segments.why[-1] == CROSSING
    assert right.segments.why[0] == CROSSING


def test_each_segment_left_out_says_why() -> None:
    cycles = full_cycles(30)
    amps = cycles.history.current_a.copy()
    per_day = 288
    amps[2 * per_day + 100 : 2 * per_day + 110] = np.nan
    amps[5 * per_day : 6 * per_day] = 0.0
    # A charge that was cut short and taken for full: 20 Ah less in than out.
    charging = np.flatnonzero(amps[8 * per_day : 9 * per_day] > 0) + 8 * per_day
    amps[charging] -= 20 / (charging.size / 12)
    broken = replace(cycles, history=replace(cycles.history, current_a=amps))
    window = _window(broken)
    assert window.segments.why[[2, 5, 8]].tolist() == [BROKEN, LITTLE, OPEN]
    assert window.segments.used == 27
    assert len(WHY) == OPEN + 1
    assert WHY[USED] == "used"
    assert window.ratio.value == pytest.approx(cycles.ratio, abs=5e-4)


def test_a_colder_full_charge_holds_less() -> None:
    # From 25 to 5 °C over the window: by the default 20 · 0.15 % of 200 Ah = 6 Ah less inside
    # at its end, so 6 Ah of what came out had not gone in meanwhile.
    cycles = full_cycles(20)
    ends = np.linspace(25.0, 5.0, 21)
    colder = replace(cycles, between=replace(cycles.between, from_c=ends[:-1], to_c=ends[1:]))
    first, second = _window(cycles), _window(colder)
    assert first.zero is not None
    assert second.zero is not None
    more_a = second.zero.closing_a - first.zero.closing_a
    assert more_a == pytest.approx(6 / (20 * 24), rel=0.02)
    assert first.u is not None
    assert second.u is not None
    assert second.u.own > first.u.own


def test_an_unknown_temperature_is_not_corrected_for() -> None:
    cycles = full_cycles(20)
    unknown = np.full(20, np.nan)
    blind = replace(cycles, between=replace(cycles.between, from_c=unknown, to_c=unknown))
    assert _window(blind).ratio == _window(cycles).ratio


def test_nothing_gives_back_more_than_it_took() -> None:
    cycles = full_cycles(20)
    flat = replace(cycles.history, voltage_v=np.full(cycles.history.at_ms.size, 53.0))
    number = _window(replace(cycles, history=flat)).ratio
    assert number.high == 1.0
