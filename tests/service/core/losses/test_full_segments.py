"""Sums between full charges against cyclers, brute force, and batteries whose truth is known."""

import numpy as np
import pytest

from joulebook.core.battery.balances import FullToFull
from joulebook.core.history import Floats, PackHistory
from joulebook.core.losses.full_segments import STILL_A, SensorOffset, segment_sums
from joulebook.core.spans import Span
from tests.helpers.curve_readings import cycler
from tests.helpers.full_cycles import constant_offset, full_cycles, no_offset, segments_at

MINUTE_MS = 60_000
WARM = np.array([25.0])


def _history(amps: Floats, volts: Floats | None = None, step_s: float = 60.0) -> PackHistory:
    return PackHistory(
        at_ms=np.arange(amps.size) * round(step_s * 1000),
        voltage_v=np.full(amps.size, 50.0) if volts is None else volts,
        current_a=amps,
        temperature_c=np.full(amps.size, 25.0),
        step_s=step_s,
        rated_ah=200.0,
        cells=16,
    )


def _whole(history: PackHistory) -> FullToFull:
    at_ms = history.at_ms
    return segments_at(at_ms[:1], at_ms[-1:], from_c=WARM, to_c=WARM)


# By hand: 60 A · 50 V for two minutes are 100 Wh and 2 Ah in; 30 A · 50 V for one are 25 Wh out.
def test_three_minutes_by_hand() -> None:
    history = _history(np.array([60.0, 60.0, -30.0, 0.0]))
    sums = segment_sums(history, _whole(history), no_offset())
    assert sums.charge_wh == pytest.approx([100.0])
    assert sums.charge_ah == pytest.approx([2.0])
    assert sums.discharge_wh == pytest.approx([25.0])
    assert sums.discharge_ah == pytest.approx([0.5])
    assert sums.charging_h == pytest.approx([2 / 60])
    assert sums.discharging_vh == pytest.approx([50 / 60])
    assert sums.covered_h == pytest.approx([3 / 60])
    assert not sums.broken.any()


def test_an_offset_is_removed_before_the_sign_is_told_and_noise_at_rest_cancels() -> None:
    amps = np.array([0.3, 0.3 + STILL_A * 0.9, 0.3 - STILL_A * 0.9, 10.3, -9.7, 0.3])
    sums = segment_sums(_history(amps), _whole(_history(amps)), constant_offset(0.3))
    assert sums.charge_ah == pytest.approx([10 / 60])
    assert sums.discharge_ah == pytest.approx([10 / 60])
    # Four quiet minutes, of which three are inside: their net is nothing, and counts as no charge.
    assert sums.discharging_h == pytest.approx([(1 + 3) / 60])


def test_what_trickles_while_full_is_held_counts_as_charge() -> None:
    # Full from minute 2 on and held until minute 6 by 0.1 A; emptied; full again at minute 10.
    amps = np.array([20.0, 20, 0.1, 0.1, 0.1, 0.1, -30, -30, 30, 31, 0.1, 0.1])
    history = _history(amps)
    at_ms = history.at_ms
    warm = np.full(2, 25.0)
    between = segments_at(at_ms[[0, 6]], at_ms[[2, 10]], from_c=warm, to_c=warm)
    sums = segment_sums(history, between, no_offset())
    assert sums.from_ms.tolist() == at_ms[[0, 2]].tolist()
    assert sums.charge_ah[1] == pytest.approx((4 * 0.1 + 61) / 60)
    assert sums.discharge_ah[1] == pytest.approx(60 / 60)
    assert sums.covered_h[1] == pytest.approx(8 / 60)


def test_a_hold_with_a_silence_in_it_is_left_out() -> None:
    amps = np.array([20.0, 20] + [0.1] * 20 + [-30, -30, 30, 31, 0.1, 0.1])
    amps[4:18] = np.nan
    history = _history(amps)
    at_ms = history.at_ms
    warm = np.full(2, 25.0)
    between = segments_at(at_ms[[0, 22]], at_ms[[2, 26]], from_c=warm, to_c=warm)
    sums = segment_sums(history, between, no_offset())
    assert sums.from_ms.tolist() == at_ms[[0, 22]].tolist()
    assert not sums.broken.any()


def test_a_lost_reading_is_bridged_by_a_line() -> None:
    # 30 A, one lost, 60 A: 30 A for the first minute, their mean of 45 A for the one that is lost.
    amps = np.array([30.0, np.nan, 60.0, 0.0])
    sums = segment_sums(_history(amps), _whole(_history(amps)), no_offset())
    assert sums.charge_ah == pytest.approx([(30 + 45 + 60) / 60])


def test_a_long_silence_breaks_a_segment() -> None:
    amps = np.full(40, 20.0)
    amps[10:25] = np.nan
    history = _history(amps)
    ends = history.at_ms[[0, 30]], history.at_ms[[29, 39]]
    two = np.full(2, 25.0)
    sums = segment_sums(history, segments_at(*ends, from_c=two, to_c=two), no_offset())
    assert sums.broken.tolist() == [True, False]


def test_a_segment_without_a_reading_is_broken() -> None:
    history = _history(np.full(10, 20.0))
    later = history.at_ms[-1:] + MINUTE_MS
    between = segments_at(later, later + MINUTE_MS, from_c=WARM, to_c=WARM)
    sums = segment_sums(history, between, no_offset())
    assert sums.broken.tolist() == [True]
    assert sums.charge_wh.tolist() == [0.0]


def test_no_segments_give_empty_columns() -> None:
    history = _history(np.full(10, 20.0))
    none = np.empty(0, dtype=np.int64)
    nothing = np.empty(0)
    between = segments_at(none, none, from_c=nothing, to_c=nothing)
    assert segment_sums(history, between, no_offset()).charge_wh.size == 0


# CV-81: the ORNL cell starts and ends empty; its instrument says 30.35 and 30.33 Ah, 119.41 and
# 113.84 Wh. Rows 10 s apart and finer, each held until the next: within 0.3 % of the instrument.
def test_a_real_cell_from_empty_to_empty() -> None:
    rows = cycler("ornl_leaf_1c_cycle1.csv")
    at_ms = np.round(np.array(rows["time_s"]) * 1000).astype(np.int64)
    kept = np.append(np.diff(at_ms) > 0, True)  # two rows where a step ends: the later one
    history = PackHistory(
        at_ms=at_ms[kept],
        voltage_v=np.array(rows["voltage_v"])[kept],
        current_a=np.array(rows["current_a"])[kept],
        temperature_c=np.full(kept.sum(), 25.0),
        step_s=10.0,
        rated_ah=33.1,
        cells=1,
    )
    sums = segment_sums(history, _whole(history), no_offset())
    assert sums.charge_ah[0] == pytest.approx(30.35, rel=3e-3)
    assert sums.discharge_ah[0] == pytest.approx(30.33, rel=3e-3)
    assert sums.discharge_wh[0] / sums.charge_wh[0] == pytest.approx(0.9519, abs=2e-3)


def test_the_sums_are_those_of_a_plain_loop() -> None:
    cycles = full_cycles(3, seed=4, noise_a=0.3, offset_a=0.2)
    offset = constant_offset(0.15)
    sums = segment_sums(cycles.history, cycles.between, offset)
    history = cycles.history
    for segment, (start_ms, end_ms) in enumerate(
        zip(cycles.between.from_ms, cycles.between.to_ms, strict=True)
    ):
        charge = discharge = still = 0.0
        for row in np.flatnonzero((history.at_ms >= start_ms) & (history.at_ms < end_ms)):
            amps = history.current_a[row] - 0.15
            energy = amps * history.voltage_v[row] * 300 / 3600
            if abs(amps) >= STILL_A:
                charge += max(energy, 0.0)
                discharge += max(-energy, 0.0)
            else:
                still += energy
        assert sums.charge_wh[segment] == pytest.approx(charge + max(still, 0.0))
        assert sums.discharge_wh[segment] == pytest.approx(discharge + max(-still, 0.0))


def test_an_offset_between_knots_and_its_worst_uncertainty_in_a_span() -> None:
    offset = SensorOffset(
        at_ms=np.array([0, 1000, 2000]),
        offset_a=np.array([0.0, 0.1, 0.4]),
        u_a=np.array([0.01, 0.03, 0.02]),
    )
    assert offset.at(np.array([-5, 500, 1500, 9000])) == pytest.approx([0.0, 0.05, 0.25, 0.4])
    assert offset.u_over(Span(500, 1500)) == pytest.approx(0.03)
    assert offset.u_over(Span(0, 500)) == pytest.approx(0.02)
    assert offset.u_over(Span(3000, 4000)) == pytest.approx(0.02)
