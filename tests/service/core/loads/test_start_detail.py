"""One start looked at closely, with numbers that can be checked by hand."""

import math

import numpy as np
import pytest

from joulebook.core.checks.inputs import Readings
from joulebook.core.curves import Curve, curve
from joulebook.core.loads.start_detail import high_time, peak, sag, spacing_s

STEP_MS = 10_000
NOTHING: Readings = (np.empty(0, np.int64), np.empty(0))


def line(*watts: float, step_ms: int = STEP_MS) -> Curve:
    return curve(np.arange(len(watts), dtype=np.int64) * step_ms, np.array(watts, dtype=float))


def readings(*values: float) -> Readings:
    """Return readings each 10 s; the start lies behind the third."""
    return np.arange(len(values), dtype=np.int64) * STEP_MS, np.array(values)


def test_a_peak_is_at_least_the_highest_reading() -> None:
    # A motor takes several times its running power for 0.1 to 1 s (CV-145, common practice, no
    # source): readings each 10 s bound the peak from below only.
    found = peak(line(100, 100, 2400, 1600, 1600), STEP_MS, 10.0)
    assert (found.value, found.high) == (2400.0, None)
    assert found.low == pytest.approx(2400 - 1.6449 * 24 / math.sqrt(3))


def test_of_slow_readings_three_are_looked_at() -> None:
    slow = line(100, 1600, 1700, 1800, 5000, step_ms=60_000)
    assert peak(slow, 0, 60.0).value == 1800.0
    assert peak(slow, 4 * 60_000, 60.0).reason == "nothing was read after it"


def test_the_spacing_is_the_usual_one_around() -> None:
    assert spacing_s(line(1, 2, 3), 0) == 10.0
    assert spacing_s(line(1), 0) == math.inf


def test_how_long_it_stayed_high_lies_between_readings() -> None:
    # By hand: high at 20, 30 and 40 s, not at 10 and 50 s.
    found = high_time(line(100, 100, 1600, 1600, 1600, 100, 100), STEP_MS, 1500.0)
    assert (found.s.low, found.s.value, found.s.high) == (20.0, 30.0, 40.0)
    assert found.at_least is False


def test_a_rise_over_two_readings_counts_from_the_second() -> None:
    found = high_time(line(100, 300, 1600, 1600, 100), 0, 1500.0)
    assert (found.s.low, found.s.high) == (10.0, 40.0)


def test_readings_that_end_bound_it_from_below_only() -> None:
    found = high_time(line(100, 1600, 1600, 1600), 0, 1500.0)
    assert (found.s.value, found.s.low, found.s.high) == (20.0, 20.0, None)
    assert found.at_least is True


def test_so_does_a_silence() -> None:
    at_ms = np.array([0, 10_000, 20_000, 30_000, 900_000, 910_000])
    load = curve(at_ms, np.array([100.0, 1600.0, 1600.0, 1600.0, 100.0, 100.0]))
    found = high_time(load, 0, 1500.0)
    assert (found.s.value, found.s.high, found.at_least) == (20.0, None, True)


def test_nobody_looks_longer_than_an_hour() -> None:
    found = high_time(line(100, *[1600] * 500), 0, 1500.0)
    assert (found.s.value, found.at_least) == (3590.0, True)


def test_ohms_law() -> None:
    # By hand: 52.6 V at 10 A out, 52.0 V at 40 A out: 0.6 V over 30 A are 20 mΩ.
    found = sag(
        2 * STEP_MS,
        readings(52.6, 52.6, 52.6, 52.0, 52.1),
        readings(-10, -10, -10, -40, -38),
        readings(3.28, 3.28, 3.28, 3.22, 3.23),
        every_s=10.0,
    )
    assert found.v.value == pytest.approx(0.6)
    assert found.change_a == 30.0
    assert found.ohm.value == pytest.approx(0.020)
    assert found.lowest_v.value == 52.0
    assert found.lowest_cell_v.value == 3.22
    # Half a percent of the reading, uniform.
    assert found.lowest_v.low == pytest.approx(52 - 1.6449 * 0.26 / math.sqrt(3))


def test_a_voltage_that_scatters_tells_the_sag_less_well() -> None:
    calm = sag(2 * STEP_MS, readings(52.6, 52.6, 52.6, 52.0), NOTHING, NOTHING, every_s=10.0)
    loose = sag(2 * STEP_MS, readings(52.4, 52.6, 52.8, 52.0), NOTHING, NOTHING, every_s=10.0)
    assert calm.v.low is not None
    assert loose.v.low is not None
    assert loose.v.low < calm.v.low - 0.2


def test_what_is_not_read_is_refused() -> None:
    alone = sag(2 * STEP_MS, readings(52.6, 52.6, 52.6, 52.0), NOTHING, NOTHING, every_s=10.0)
    assert (alone.change_a, alone.ohm.reason) == (None, "the battery's current was not read")
    assert alone.lowest_cell_v.reason == "the lowest cell's voltage is not reported"
    nothing = sag(2 * STEP_MS, NOTHING, NOTHING, NOTHING, every_s=10.0)
    assert nothing.v.reason == "the battery's voltage was not read both before and after it"
    after = sag(5 * STEP_MS, readings(52.6, 52.6, 52.6), NOTHING, NOTHING, every_s=10.0)
    assert after.v.value is None


def test_a_start_that_the_grid_carried_tells_no_resistance() -> None:
    found = sag(
        2 * STEP_MS,
        readings(52.6, 52.6, 52.6, 52.5),
        readings(-10, -10, -10, -12),
        NOTHING,
        every_s=10.0,
    )
    assert found.ohm.reason is not None
    assert found.ohm.reason.startswith("the battery gave 2.0 A more, and 5 A are needed")


def test_slow_readings_tell_volts_per_ampere_less_well() -> None:
    volts, amps = readings(52.6, 52.6, 52.6, 52.0), readings(-10, -10, -10, -40)
    fast, slow = (sag(2 * STEP_MS, volts, amps, NOTHING, every_s=each).ohm for each in (10.0, 60.0))
    assert fast.value == slow.value == pytest.approx(0.020)
    assert fast.high == pytest.approx(0.020 * (1 + 1.6449 * 0.05 / math.sqrt(3)))
    assert slow.high == pytest.approx(0.020 * (1 + 1.6449 * 0.40 / math.sqrt(3)))
