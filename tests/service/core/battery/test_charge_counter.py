"""Charge along a record: by hand, with holes and breaks, and against numpy's own integral."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.history import Floats, PackHistory

MINUTE_MS = 60_000


def _history(
    at_min: list[float], current_a: list[float], voltage_v: list[float] | None = None
) -> PackHistory:
    size = len(at_min)
    return PackHistory(
        at_ms=np.round(np.array(at_min) * MINUTE_MS).astype(np.int64),
        voltage_v=np.array(voltage_v if voltage_v is not None else [50.0] * size),
        current_a=np.array(current_a),
        temperature_c=np.full(size, 25.0),
        step_s=60.0,
        rated_ah=100.0,
        cells=16,
    )


def test_a_reading_holds_until_the_next() -> None:
    counter = count_charge(_history([0, 1, 2, 3], [60.0, -30.0, 12.0, 99.0]))
    # 60 A, -30 A and 12 A for a minute each: 1.0, -0.5 and 0.2 Ah; at 50 V 50, -25 and 10 Wh.
    assert counter.net_ah == pytest.approx([0, 1.0, 0.5, 0.7])
    assert counter.charged_ah == pytest.approx([0, 1.0, 1.0, 1.2])
    assert counter.net_wh == pytest.approx([0, 50, 25, 35])
    assert not counter.breaks.any()
    assert counter.hours == pytest.approx([0, 1 / 60, 2 / 60, 3 / 60])


def test_an_offset_is_taken_off_by_the_hour() -> None:
    counter = count_charge(_history([0, 1, 2], [60.0, 60.0, 60.0]))
    assert counter.without_offset_ah(6.0) == pytest.approx([0, 0.9, 1.8])


def test_a_lost_reading_takes_the_mean_of_both_sides() -> None:
    # 20 A for the first minute, 15 A for the second: 35 A·min. So too where the row is there and
    # its current is not.
    assert count_charge(_history([0, 2], [20.0, 10.0])).net_ah[-1] == pytest.approx(35 / 60)
    hole = count_charge(_history([0, 1, 2], [20.0, np.nan, 10.0]))
    assert hole.net_ah[-1] == pytest.approx(35 / 60)
    assert hole.current_a == pytest.approx([20, 15, 10])
    assert not hole.breaks.any()


def test_a_long_silence_is_a_break() -> None:
    counter = count_charge(_history([0, 1, 11, 12, 22.1, 23], [6.0] * 6))
    # Ten minutes are bridged, 10.1 are not.
    assert counter.breaks.tolist() == [False, False, False, True, False]
    assert counter.run.tolist() == [0, 0, 0, 0, 1, 1]
    assert counter.net_ah[-1] == pytest.approx(6 * 12.9 / 60)


def test_slow_logging_breaks_later() -> None:
    slow = replace(_history([0, 5, 17, 30], [6.0] * 4), step_s=300.0)
    # 2.5 usual steps of five minutes are 12.5 minutes.
    assert count_charge(slow).breaks.tolist() == [False, False, True]


def test_rows_without_current_inside_a_long_silence_break_too() -> None:
    at = [0.0, 1, 5, 9, 13, 14]
    counter = count_charge(_history(at, [6.0, 6.0, np.nan, np.nan, 6.0, 6.0]))
    assert counter.breaks.tolist() == [False, True, True, True, False]
    ends = count_charge(_history(at, [np.nan, 6.0, 6.0, 6.0, 6.0, np.nan]))
    assert ends.breaks.tolist() == [True, False, False, False, True]


def test_a_missing_voltage_is_taken_from_its_neighbours() -> None:
    counter = count_charge(_history([0, 1, 2], [60.0, 60.0, 60.0], [50.0, np.nan, 52.0]))
    assert counter.net_wh == pytest.approx([0, 50, 101])
    assert np.isnan(count_charge(_history([0, 1], [1.0, 1.0], [np.nan] * 2)).net_wh).all()


@pytest.mark.parametrize("size", [0, 1, 3])
def test_nothing_known_is_nothing_counted(size: int) -> None:
    counter = count_charge(_history(list(range(size)), [np.nan] * size))
    assert counter.net_ah.size == size
    assert counter.breaks.tolist() == [True] * max(size - 1, 0)
    assert counter.run.tolist() == list(range(size))


def test_the_step_has_to_be_known() -> None:
    with pytest.raises(ValueError, match="above zero"):
        count_charge(replace(_history([0], [1.0]), step_s=0.0))


def test_a_sine_comes_out_as_its_exact_integral() -> None:
    # ∫ 100·sin(πt/12 h) over 12 h = 100·24/π Ah; held readings of a smooth curve err by the
    # square of the step.
    hours = np.arange(0, 721) / 60
    current: Floats = 100 * np.sin(np.pi * hours / 12)
    counter = count_charge(_history((hours * 60).tolist(), current.tolist()))
    assert counter.net_ah[-1] == pytest.approx(2400 / np.pi, rel=1e-5)
    assert counter.net_ah[-1] == pytest.approx(np.trapezoid(current, hours), abs=1e-9)
