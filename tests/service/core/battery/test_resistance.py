"""Resistance against handbook arithmetic, pulses of a real cell, and packs made up."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.battery.resistance import (
    LEAST_STEPS,
    PackResistance,
    assumed_resistance,
    pack_resistance,
    step_ohm,
)
from joulebook.core.estimate import Estimate
from joulebook.core.history import Floats, PackHistory
from tests.helpers.cycled_packs import RESISTANCE_OHM, START_MS, cycled_pack

PULSES = Path(__file__).parents[3] / "data" / "ornl_hppc25_resistance.csv"


# CV-90: two-step d.c. resistance as IEC 61960-3 defines it (method from memory), made-up numbers.
def test_the_two_step_resistance() -> None:
    assert step_ohm(3.286, 3.230, -56.0, -280.0) == pytest.approx(0.250e-3, abs=1e-12)
    # CV-90b: 16 such cells, 10 A to 110 A of discharge, 53.10 V to 52.70 V.
    assert step_ohm(53.10, 52.70, -10.0, -110.0) == pytest.approx(16 * 0.25e-3, abs=1e-12)


def _pulses() -> list[dict[str, float]]:
    lines = PULSES.read_text(encoding="utf-8").splitlines()[1:]
    return [{name: float(text) for name, text in row.items()} for row in csv.DictReader(lines)]


# CV-91: ORNL, ten pulses of 30 A at 25 °C; mΩ after 1 s and after 10 s, tolerance 1e-4.
R1_MOHM = [1.9000, 1.6661, 1.6661, 1.6000, 1.5995, 1.5995, 1.6328, 1.5995, 1.6333, 1.7328]
R10_MOHM = [2.6000, 2.1326, 2.1993, 2.0000, 2.0327, 2.0327, 2.0327, 2.0327, 2.0667, 2.5325]


@pytest.mark.parametrize(("seconds", "expected"), [("1s", R1_MOHM), ("10s", R10_MOHM)])
def test_pulses_of_a_real_cell(seconds: str, expected: list[float]) -> None:
    measured = [
        1000 * step_ohm(p["V_before"], p[f"V_{seconds}"], p["I_before"], p[f"I_{seconds}"])
        for p in _pulses()
    ]
    assert measured == pytest.approx(expected, abs=1e-4)


# CV-91b: it grows with the seconds under load, so that they have to be stated.
def test_resistance_grows_with_the_time_under_load() -> None:
    for p in _pulses():
        after = [
            step_ohm(p["V_before"], p[f"V_{each}"], p["I_before"], p[f"I_{each}"])
            for each in ("1s", "10s", "30s")
        ]
        assert after == sorted(after)
        assert after[2] > 1.3 * after[0]


def test_no_resistance_without_a_step() -> None:
    with pytest.raises(ValueError, match="without a step"):
        step_ohm(52.0, 51.0, -10.0, -10.0)


def _measured(pack: PackHistory, temperature_c: Floats) -> PackResistance | Estimate:
    return pack_resistance(pack, temperature_c, pack.current_a)


def _stepping(
    ohm: float, *, steps: int, step_a: float = 20.0, resolution_v: float = 0.0
) -> PackHistory:
    """A pack of 16 cells on the flat part, whose load goes up and down every few minutes."""
    random = np.random.default_rng(4)
    minutes = random.integers(1, 12, steps + 1)
    current: Floats = -5.0 - step_a * np.repeat(np.arange(steps + 1) % 2, minutes).astype(float)
    volts: Floats = 52.8 + ohm * current
    if resolution_v:
        # Real voltages wander between digits.
        volts += random.uniform(-resolution_v / 2, resolution_v / 2, current.size)
        volts[:] = np.round(volts / resolution_v) * resolution_v
    return PackHistory(
        at_ms=START_MS + np.arange(current.size) * 60_000,
        voltage_v=volts,
        current_a=current,
        temperature_c=np.full(current.size, 25.0),
        step_s=60.0,
        rated_ah=200.0,
        cells=16,
    )


# CV-92: a voltmeter of 0.1 V leaves ±0.05 V/20 A = ±2.5 mΩ on one edge: refuse one, average many.
def test_one_step_is_refused_and_many_are_averaged() -> None:
    coarse = _stepping(0.014, steps=1, resolution_v=0.1)
    refusal = _measured(coarse, coarse.temperature_c)
    assert isinstance(refusal, Estimate)
    assert refusal.reason == "only 1 clear steps of the load were read, and 50 are needed"
    step = int(np.argmax(np.diff(coarse.current_a) != 0))
    single = np.diff(coarse.voltage_v)[step] / np.diff(coarse.current_a)[step]
    assert abs(single - 0.014) <= 2 * (2 * 0.0025) + 1e-12  # wandering, and rounded, both times
    coarse = _stepping(0.014, steps=400, resolution_v=0.1)
    many = _measured(coarse, coarse.temperature_c)
    assert isinstance(many, PackResistance)
    assert many.steps == 400
    error = many.standard_error_ohm(25.0, 0.0)
    assert error < 0.0025 / 5
    assert abs(float(many.at(np.array([25.0]), np.zeros(1))[0]) - 0.014) < 3 * error


def test_fifty_steps_are_just_enough() -> None:
    fine = _stepping(0.014, steps=LEAST_STEPS)
    known = _measured(fine, fine.temperature_c)
    assert isinstance(known, PackResistance)
    assert known.terms[0] == pytest.approx(0.014, rel=2e-3)
    fewer = _stepping(0.014, steps=LEAST_STEPS - 1)
    assert isinstance(_measured(fewer, fewer.temperature_c), Estimate)


def test_small_packs_need_smaller_steps() -> None:
    # 5 A is no step for 200 Ah, and one for 50 Ah: 8 % of it is 4 A.
    small = _stepping(0.05, steps=80, step_a=5.0)
    assert isinstance(_measured(small, small.temperature_c), Estimate)
    small = replace(small, rated_ah=50.0)
    known = _measured(small, small.temperature_c)
    assert isinstance(known, PackResistance)
    assert known.terms[0] == pytest.approx(0.05, rel=2e-3)


def test_steep_parts_and_lost_readings_are_left_out() -> None:
    low = replace(_stepping(0.014, steps=80), cells=17)
    assert isinstance(_measured(low, low.temperature_c), Estimate)
    sparse = _stepping(0.014, steps=80)
    sparse = replace(sparse, at_ms=sparse.at_ms[0] + 2 * (sparse.at_ms - sparse.at_ms[0]))
    assert isinstance(_measured(sparse, sparse.temperature_c), Estimate)
    holes = _stepping(0.014, steps=200)
    holes.voltage_v[::3] = np.nan
    known = _measured(holes, holes.temperature_c)
    assert isinstance(known, PackResistance)
    # A third of neighbouring pairs has both.
    assert known.steps == pytest.approx(200 / 3, abs=10)


def test_cold_and_years_are_told_apart() -> None:
    pack = _stepping(0.014, steps=4000)
    size = pack.at_ms.size
    years = np.linspace(0, 3, size)
    temperature_c = 18 + 17 * np.cos(2 * np.pi * years)
    truth = 0.014 * (1 + 0.05 * years) * np.exp(0.015 * np.maximum(25 - temperature_c, 0))
    noise = np.random.default_rng(2).normal(0, 0.01, size)
    # The same readings, spread over three years.
    pack = replace(
        pack,
        at_ms=START_MS + np.round(years * 365.25 * 86_400).astype(np.int64) * 1000,
        voltage_v=52.8 + truth * pack.current_a + noise,
        step_s=3 * 365.25 * 86_400 / size,
    )
    known = _measured(pack, temperature_c)
    assert isinstance(known, PackResistance)
    wanted = np.array([25.0, 15.0, 5.0, 32.0]), np.array([0.0, 1.0, 2.0, 3.0])
    expected = 0.014 * (1 + 0.05 * wanted[1]) * np.exp(0.015 * np.maximum(25 - wanted[0], 0))
    assert known.at(*wanted) == pytest.approx(expected, rel=0.03)


def test_wild_steps_do_not_count() -> None:
    pack = _stepping(0.014, steps=300)
    pack.voltage_v[:] += np.random.default_rng(6).normal(0, 0.002, pack.at_ms.size)
    pack.voltage_v[::10] += 0.15
    known = _measured(pack, pack.temperature_c)
    assert isinstance(known, PackResistance)
    assert known.terms[0] == pytest.approx(0.014, rel=0.01)


def test_a_voltage_that_rises_with_the_load_is_refused() -> None:
    pack = _stepping(-0.014, steps=100)
    refusal = _measured(pack, pack.temperature_c)
    assert isinstance(refusal, Estimate)
    assert refusal.reason == "the voltage does not fall when the load rises"


@pytest.mark.parametrize(("step_s", "rel"), [(60, 0.01), (300, 0.03)])
def test_a_pack_in_daily_use(step_s: int, rel: float) -> None:
    pack = cycled_pack(20, step_s=step_s, noise_v=0.005)
    known = _measured(pack, pack.temperature_c)
    assert isinstance(known, PackResistance)
    number = known.estimate(0.0, coverage_ratio=0.99)
    assert number.value == pytest.approx(RESISTANCE_OHM, rel=rel)
    assert number.low is not None
    assert number.high is not None
    assert 0 < number.low < RESISTANCE_OHM * (1 + rel)
    assert (number.method, number.coverage_ratio) == ("resistance-1", 0.99)


def test_what_is_assumed_follows_size() -> None:
    twenty_five, now = np.array([25.0]), np.zeros(1)
    assert assumed_resistance(200.0, 16).at(twenty_five, now)[0] == pytest.approx(0.014)
    assert assumed_resistance(100.0, 8).at(twenty_five, now)[0] == pytest.approx(0.014)
    assert assumed_resistance(200.0, 16).steps == 0
    assert assumed_resistance(200.0, 16).at(np.array([0.0]), now)[0] > 0.016


def test_it_is_never_nearly_nothing() -> None:
    falling = assumed_resistance(200.0, 16)
    assert falling.at(np.array([25.0]), np.array([-100.0]))[0] == pytest.approx(0.0014)
