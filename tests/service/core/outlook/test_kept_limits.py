"""Hours beyond a limit, by arithmetic that stands beside them."""

import numpy as np
import pytest

from joulebook.core.history import PackHistory
from joulebook.core.outlook.kept_limits import METHOD, Limits, kept_limits

NAN = np.nan


def history(warmth: list[float], amps: list[float], volts: list[float]) -> PackHistory:
    """A reading an hour."""
    return PackHistory(
        at_ms=np.arange(len(warmth), dtype=np.int64) * 3_600_000,
        voltage_v=np.array(volts),
        current_a=np.array(amps),
        temperature_c=np.array(warmth),
        step_s=3600.0,
        rated_ah=200.0,
        cells=16,
    )


def test_the_worked_example_of_the_page() -> None:
    three = history([-2.0, -0.5, 3.0], [10.0] * 3, [53.0] * 3)
    cold = kept_limits(three, Limits(charge_low_c=0.0)).charge_cold
    assert (cold.value, cold.low, cold.high, cold.coverage_ratio) == (2.0, 1.0, 2.0, 1.0)
    assert cold.method == METHOD


def test_only_the_current_of_that_direction_counts_and_its_offset_is_removed() -> None:
    warmth = [50.0] * 4
    # Of the four currents, less an offset of 1 A: in, out, rest, in.
    four = history(warmth, [6.0, -4.0, 1.1, 2.0], [53.0] * 4)
    limits = Limits(charge_high_c=45.0, discharge_high_c=45.0, discharge_low_c=-20.0)
    kept = kept_limits(four, limits, offset_at=lambda at_ms: np.ones(at_ms.size))
    assert kept.charge_hot.value == 2.0
    assert kept.discharge_hot.value == 1.0
    assert kept.discharge_cold.value == 0.0


def test_a_voltage_is_beyond_for_sure_only_past_the_voltmeters_error() -> None:
    # 0.5 % of 56 V is 0.28 V: 56.2 may be 56 read too high, 55.9 may be more than 56.
    kept = kept_limits(
        history([25.0] * 4, [1.0] * 4, [56.2, 56.4, 55.9, 50.0]), Limits(charge_max_v=56.0)
    )
    over = kept.over_voltage
    assert (over.value, over.low, over.high) == (2.0, 1.0, 3.0)
    assert kept.highest_v == 56.4


def test_what_was_not_measured_is_not_kept_either() -> None:
    some = history([NAN, 20.0, 50.0, NAN], [5.0, NAN, 5.0, 5.0], [NAN] * 4)
    limits = Limits(charge_high_c=45.0, charge_max_v=56.0)
    kept = kept_limits(some, limits)
    assert kept.charge_hot.value == 1.0
    assert kept.charge_hot.coverage_ratio == pytest.approx(0.25)
    assert kept.over_voltage.value is None
    assert kept.over_voltage.reason == "what it is about was not measured"
    assert (kept.highest_v, kept.coldest_c, kept.hottest_c) == (None, 20.0, 50.0)


def test_a_limit_that_was_not_entered_is_not_judged() -> None:
    kept = kept_limits(history([25.0] * 2, [1.0] * 2, [53.0] * 2), Limits())
    for each in (kept.charge_cold, kept.charge_hot, kept.discharge_cold, kept.over_voltage):
        assert (each.value, each.reason) == (None, "the terms' limit was not entered")


def test_a_record_without_a_reading_has_no_hours() -> None:
    kept = kept_limits(history([], [], []), Limits(charge_low_c=0.0))
    assert kept.charge_cold.value is None
    assert kept.highest_v is None
