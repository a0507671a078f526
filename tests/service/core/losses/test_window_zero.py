"""The offset of a window from charge balance and rest, against batteries whose truth is known."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.losses.closing import Closing
from joulebook.core.losses.full_segments import SensorOffset, segment_sums
from joulebook.core.losses.window_zero import Zero, open_u_ah, rested_offset, window_zero
from joulebook.core.spans import Span
from tests.helpers.full_cycles import (
    DAY_MS,
    START_MS,
    FullCycles,
    constant_offset,
    full_cycles,
    segments_at,
)

KNOWN = Closing(loss_u=0.0, cold_u=0.0, hidden_a=0.0, hidden_u=0.0)


def _zero(cycles: FullCycles, closing: Closing, assumed: SensorOffset | None = None) -> Zero:
    offset = assumed or constant_offset(0.0)
    days = cycles.between.from_ms.size
    return window_zero(
        segment_sums(cycles.history, cycles.between, offset),
        np.ones(days, dtype=np.bool_),
        Span(START_MS, START_MS + days * DAY_MS),
        offset=offset,
        closing=closing,
        rated_ah=200.0,
    )


def test_both_witnesses_find_an_offset() -> None:
    zero = _zero(full_cycles(30, offset_a=0.1), KNOWN)
    assert zero.closing_a == pytest.approx(0.1, abs=1e-3)
    assert zero.rest_a == pytest.approx(0.1, abs=1e-6)
    assert zero.offset_a == pytest.approx(0.1, abs=1e-3)


def test_what_draws_behind_the_sensor_moves_the_balance_alone() -> None:
    # Seen from the sensor 0.04 A more goes in all day long than comes out: 0.96 Ah of 100.
    cycles = full_cycles(30, loss_ratio=0.0025 + 0.04 * 24 / 100)
    zero = _zero(cycles, Closing())
    assert zero.rest_a == pytest.approx(0.0, abs=1e-6)
    # The balance expects 0.01 A of it, and takes the rest for an offset.
    assert zero.closing_a == pytest.approx(0.03, abs=0.003)
    assert abs(zero.offset_a) < 0.006


def test_witnesses_that_contradict_each_other_count_alike_and_are_trusted_less() -> None:
    # Another 5 % of the charge that never comes out is 0.2 A to the balance, and nothing to rest.
    zero = _zero(full_cycles(30, loss_ratio=0.0525), Closing())
    assert zero.closing_a == pytest.approx(0.2, abs=0.02)
    assert zero.rest_a == pytest.approx(0.0, abs=1e-6)
    assert zero.offset_a == pytest.approx(zero.closing_a / 2, rel=0.05)
    assert zero.u.total == pytest.approx(zero.closing_a / 2, rel=0.05)


def test_without_rest_the_balance_stands_alone() -> None:
    cycles = full_cycles(12)  # and a span that ends before any rest is long enough
    offset = constant_offset(0.05)
    zero = window_zero(
        segment_sums(cycles.history, cycles.between, offset),
        np.ones(12, dtype=np.bool_),
        Span(START_MS, START_MS + DAY_MS),
        offset=offset,
        closing=Closing(),
        rated_ah=200.0,
    )
    assert zero.rest_a is None
    assert zero.rest_h == 0.0
    assert zero.offset_a == zero.closing_a == pytest.approx(-0.01, abs=2e-3)
    # ε: 0.0015 · about 100 Ah/24 h = 0.006 A; behind the sensor 0.017 A.
    assert zero.u.shared == pytest.approx(np.hypot(0.0063, 0.017), rel=0.05)


def test_what_is_open_is_uncertain_by_how_much_segments_differ() -> None:
    cycles = full_cycles(200, full_noise_ah=0.3, loss_ratio=0.0)
    sums = segment_sums(cycles.history, cycles.between, constant_offset(0.0))
    used = np.ones(200, dtype=np.bool_)
    open_ah = sums.charge_ah - sums.discharge_ah
    # Each is off by the difference of two full charges: √2 · 0.3 Ah, 200 times.
    assert open_u_ah(sums, used, open_ah) == pytest.approx(0.3 * np.sqrt(2 * 200), rel=0.15)


def _rested(
    cycles: FullCycles, assumed: SensorOffset, *, steps_ms: Sequence[int] = ()
) -> SensorOffset:
    sums = segment_sums(cycles.history, cycles.between, assumed)
    return rested_offset(sums, assumed, rated_ah=200.0, steps_ms=steps_ms, closing=KNOWN)


def test_a_drifting_offset_is_followed_over_the_record() -> None:
    cycles = full_cycles(365, offset_a=-0.1, drift_a=0.1, step_s=900)
    found = _rested(cycles, constant_offset(-0.05))
    assert found.at_ms.size == 4 + 2
    middles = found.at_ms[1:-1]
    truth = -0.1 + 0.1 * (middles - START_MS) / (365 * DAY_MS)
    assert found.offset_a[1:-1] == pytest.approx(truth, abs=2e-3)
    assert np.all(found.u_a < 0.01)


def test_an_offset_may_step_where_it_is_said_to() -> None:
    cycles = full_cycles(120, step_s=900)
    step_ms = START_MS + 50 * DAY_MS
    amps = cycles.history.current_a + np.where(cycles.history.at_ms < step_ms, 0.05, -0.05)
    stepped = replace(cycles, history=replace(cycles.history, current_a=amps))
    found = _rested(stepped, constant_offset(0.0), steps_ms=[step_ms, START_MS - DAY_MS])
    near = np.array([step_ms - 2, step_ms])
    assert found.at(near) == pytest.approx([0.05, -0.05], abs=2e-3)


def test_a_record_that_says_nothing_leaves_what_was_assumed() -> None:
    assumed = constant_offset(0.07)
    short = full_cycles(3)
    assert _rested(short, assumed) is assumed
    none, nothing = np.empty(0, dtype=np.int64), np.empty(0)
    empty = replace(short, between=segments_at(none, none, from_c=nothing, to_c=nothing))
    assert _rested(empty, assumed) is assumed


def test_a_window_with_too_few_segments_is_left_out() -> None:
    cycles = full_cycles(200, step_s=900)
    kept = np.r_[0:60, 197:200]
    warm = np.full(63, 25.0)
    between = segments_at(
        cycles.between.from_ms[kept], cycles.between.to_ms[kept], from_c=warm, to_c=warm
    )
    found = _rested(replace(cycles, between=between), constant_offset(0.0))
    assert found.at_ms.size == 1 + 2
    assert found.at_ms[1] < START_MS + 60 * DAY_MS


def test_a_default_closing_is_what_such_batteries_commonly_do() -> None:
    cycles = full_cycles(30)
    assumed = constant_offset(0.0)
    sums = segment_sums(cycles.history, cycles.between, assumed)
    plain = rested_offset(sums, assumed, rated_ah=200.0)
    same = rested_offset(sums, assumed, rated_ah=200.0, closing=Closing())
    assert plain.offset_a.tolist() == same.offset_a.tolist()
