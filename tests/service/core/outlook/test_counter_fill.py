"""Breaks filled from a counter, by hand."""

import numpy as np
import pytest

from joulebook.core.held import amounts, held
from joulebook.core.outlook.counter_fill import Fill, fill_breaks
from tests.helpers.pack_records import MINUTE_MS

NAN = float("nan")


def _fill(
    minutes: list[int],
    amps: float,
    counter_minutes: list[int],
    counter_wh: list[float],
    *,
    enough_ah: float = 1e9,
) -> Fill:
    """Fill the breaks of a current that was the same whenever it was read, at 50 V."""
    at_ms = np.array(minutes, dtype=np.int64) * MINUTE_MS
    stands = held(at_ms, step_s=60.0)
    ah = amounts(np.full(at_ms.size, amps), stands)
    return fill_breaks(
        at_ms,
        stands,
        ah,
        50.0 * ah,
        counter_ms=np.array(counter_minutes, dtype=np.int64) * MINUTE_MS,
        counter_wh=np.array(counter_wh),
        nominal_v=50.0,
        enough_ah=enough_ah,
    )


#: An hour read each minute, two hours of silence, and an hour again; 60 A are 1 Ah a minute.
TWO_HOURS_SILENT = [*range(61), *range(180, 241)]


def test_a_break_takes_what_the_counter_rose_less_what_was_measured() -> None:
    # 120 minutes of silence, the first of them held; 50 Wh a minute were counted all along.
    fill = _fill(TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], [0.0, 3000.0, 9000.0, 12000.0])
    assert fill.filled.nonzero()[0].tolist() == [60]
    assert fill.ah[60] == pytest.approx(119.0)
    assert fill.wh[60] == pytest.approx(119.0 * 50)
    # 3 % of 119 Ah with the usual volts, and a digit of 3000 Wh at both ends: 3000 / √6 / 50.
    assert fill.u_ah == pytest.approx(np.hypot(0.03 * 119, 3000 / np.sqrt(6) / 50))


def test_two_breaks_between_two_readings_share_what_is_left() -> None:
    minutes = [*range(61), *range(120, 181), *range(300, 361)]
    fill = _fill(minutes, 60.0, [0, 360], [0.0, 18_000.0])
    # 360 Ah were counted, 3 · 61 measured, but for the last reading's minute after the counter.
    assert fill.ah[[60, 121]].tolist() == pytest.approx([178 * 59 / 178, 178 * 119 / 178])
    assert float(np.sum(fill.ah)) == pytest.approx(360 - 182)


def test_the_volts_are_found_where_both_were_there() -> None:
    # The counter reads 4 % high: beside 60 + 60 measured ampere-hours it counts 52 V.
    counted = [0.0, 3120.0, 9360.0, 12_480.0]
    usual = _fill(TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], counted)
    found = _fill(TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], counted, enough_ah=100.0)
    assert usual.ah[60] == pytest.approx(6240 / 50 - 1)
    assert found.ah[60] == pytest.approx(119.0)


def test_volts_far_from_the_usual_are_not_believed() -> None:
    fill = _fill(
        TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], [0.0, 6000.0, 12_000.0, 18_000.0], enough_ah=1.0
    )
    assert fill.ah[60] == pytest.approx(6000 / 50 - 1)


def test_a_counter_that_began_anew_fills_nothing() -> None:
    fill = _fill(TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], [9000.0, 12_000.0, 10.0, 3010.0])
    assert not fill.filled.any()
    assert float(np.sum(fill.ah)) == 0.0


def test_a_counter_that_began_anew_elsewhere_tells_no_volts() -> None:
    counted = [30_000.0, 10.0, 6010.0, 9010.0]
    fill = _fill(TWO_HOURS_SILENT, 60.0, [0, 60, 180, 240], counted, enough_ah=100.0)
    assert fill.ah[60] == pytest.approx(6000 / 50 - 1)


def test_a_break_outside_of_the_counters_readings_stays_empty() -> None:
    after = _fill(TWO_HOURS_SILENT, 60.0, [180, 240], [0.0, 3000.0])
    before = _fill(TWO_HOURS_SILENT, 60.0, [0, 60], [0.0, 3000.0])
    silent = _fill(TWO_HOURS_SILENT, 60.0, [0, 240], [NAN, NAN])
    for fill in (after, before, silent):
        assert not fill.filled.any()
        assert fill.u_ah == 0.0


def test_a_counter_that_stood_still_fills_with_nothing() -> None:
    fill = _fill(TWO_HOURS_SILENT, 0.0, [0, 60, 180, 240], [7.0, 7.0, 7.0, 7.0])
    assert fill.filled[60]
    assert fill.ah[60] == 0.0
