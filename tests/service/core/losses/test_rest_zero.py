"""A sensor's zero seen while the battery rests, of batteries whose rest is known."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.losses.rest_zero import FEWEST_BLOCKS, RestBlocks, rest_blocks
from joulebook.core.spans import Span
from tests.helpers.full_cycles import (
    DAY_MS,
    START_MS,
    FullCycles,
    constant_offset,
    full_cycles,
    segments_at,
)

ALL = Span(START_MS, START_MS + 1000 * DAY_MS)


def _blocks(cycles: FullCycles, near_a: float = 0.0) -> RestBlocks:
    return rest_blocks(cycles.history, cycles.between, constant_offset(near_a).at)


def _zero(cycles: FullCycles, near_a: float = 0.0) -> tuple[float, float]:
    zero = _blocks(cycles, near_a).zero(ALL)
    assert zero is not None
    return zero


def test_a_quiet_battery_shows_its_sensors_zero() -> None:
    cycles = full_cycles(20, offset_a=0.12, noise_a=0.05)
    blocks = _blocks(cycles, 0.05)
    # A day rests from noon to 17, from 5 to 6 and from 10:30 to noon; the first hour is left out.
    assert blocks.hours(ALL) == pytest.approx(20 * (4 + 1 + 1.5), abs=2)
    zero, u = _zero(cycles, 0.05)
    assert zero == pytest.approx(0.12, abs=0.01)
    assert 0.0 < u < 0.01


def test_the_zero_of_a_span_is_that_of_its_own_rest() -> None:
    cycles = full_cycles(40, drift_a=0.2)
    blocks = _blocks(cycles, 0.1)
    early, late = (
        blocks.zero(Span(START_MS + first * DAY_MS, START_MS + (first + 10) * DAY_MS))
        for first in (0, 30)
    )
    assert early is not None
    assert late is not None
    assert (early[0], late[0]) == pytest.approx((0.025, 0.175), abs=0.01)


def test_a_standby_draw_is_not_taken_for_an_offset() -> None:
    cycles = full_cycles(20)
    amps = cycles.history.current_a.copy()
    amps[amps == 0] = -0.8  # an inverter of 42 W
    drawn = replace(cycles, history=replace(cycles.history, current_a=amps))
    assert _blocks(drawn).zero(ALL) is None


def test_a_trickle_while_the_voltage_is_held_is_not_rest() -> None:
    cycles = full_cycles(20)
    volts = np.where(cycles.history.current_a == 0, 55.2, cycles.history.voltage_v)
    held = replace(cycles, history=replace(cycles.history, voltage_v=volts))
    assert _blocks(held).at_ms.size == 0


def test_restless_half_hours_around_zero_are_not_rest() -> None:
    cycles = full_cycles(20)
    amps = cycles.history.current_a.copy()
    still = np.flatnonzero(amps == 0)
    # Every second one goes to and fro, as where panels and load are about equal.
    busy = still[(still // 6) % 2 == 0]
    amps[busy] = np.where(np.arange(busy.size) % 2, 3.0, -3.1)
    shaken = replace(cycles, history=replace(cycles.history, current_a=amps))
    zero, _ = _zero(shaken)
    assert zero == pytest.approx(0.0, abs=1e-9)
    assert _blocks(shaken).hours(ALL) < 0.6 * _blocks(cycles).hours(ALL)


def test_too_little_rest_says_nothing() -> None:
    few = _blocks(full_cycles(20))
    last = int(few.at_ms[FEWEST_BLOCKS - 1])
    assert few.zero(Span(START_MS, last)) is None
    assert few.zero(Span(START_MS, last + 1)) is not None


def test_a_coarse_sensor_is_less_certain_the_quieter_it_is() -> None:
    cycles = full_cycles(20, offset_a=0.04)
    quiet = np.round(cycles.history.current_a, 1)
    noise = np.random.default_rng(2).normal(0, 0.05, quiet.size)
    noisy = np.round(cycles.history.current_a + noise, 1)
    found = [
        _zero(replace(cycles, history=replace(cycles.history, current_a=amps)))
        for amps in (quiet, noisy)
    ]
    # Without noise 0.04 A reads 0.0: off by 0.04, while q/π/√2 = 0.0225 is what is stated.
    assert found[0][0] == 0.0
    assert found[0][1] == pytest.approx(0.1 / np.pi / np.sqrt(2))
    assert found[1][0] == pytest.approx(0.04, abs=0.01)
    assert found[1][1] < 0.01


def test_nothing_to_look_at() -> None:
    cycles = full_cycles(5)
    none, nothing = np.empty(0, dtype=np.int64), np.empty(0)
    empty = replace(cycles, between=segments_at(none, none, from_c=nothing, to_c=nothing))
    assert _blocks(empty).at_ms.size == 0
    sparse = replace(cycles.history, step_s=3600.0)
    assert _blocks(replace(cycles, history=sparse)).zero(ALL) is not None
    missing = np.where(np.arange(cycles.history.at_ms.size) % 6 == 0, 1.0, np.nan)
    gone = replace(cycles.history, current_a=cycles.history.current_a * missing)
    assert _blocks(replace(cycles, history=gone)).at_ms.size == 0
