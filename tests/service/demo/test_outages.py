from datetime import date

import numpy as np

from joulebook.core.spans import local_day
from joulebook.demo.outages import LONG_OUTAGE_DAY, heard, outages_of, reading_came, row_came
from joulebook.demo.studio import DAY_MS, STEPS_A_DAY, ZONE
from joulebook.demo.weather import instants

START_MS = local_day(date(2025, 9, 1), ZONE).start_ms
DAYS = 426


def test_about_one_percent_is_never_heard() -> None:
    there = heard(instants(START_MS, 0, DAYS), START_MS)
    assert 0.005 < 1 - there.mean() < 0.02


def test_the_first_day_begins_when_the_bridge_was_switched_on() -> None:
    there = heard(instants(START_MS, 0, 1), START_MS)
    assert np.flatnonzero(there)[0] == 10 * 30  # steps of two minutes


def test_most_outages_last_some_hours_and_one_two_days() -> None:
    spans = [span for day in range(DAYS) for span in outages_of(day, START_MS)]
    hours = sorted(span.length_s / 3600 for span in spans)
    assert len(hours) > 8
    assert hours[0] >= 1
    assert hours[-2] <= 6
    assert hours[-1] == 51


def test_the_long_outage_leaves_whole_days_without_a_reading() -> None:
    there = heard(instants(START_MS, 0, DAYS), START_MS).reshape(-1, STEPS_A_DAY)
    assert there[LONG_OUTAGE_DAY].any()
    assert not there[LONG_OUTAGE_DAY + 1].any()
    assert not there[LONG_OUTAGE_DAY + 2][0]
    assert there[LONG_OUTAGE_DAY + 2].any()


def test_an_outage_is_the_same_in_whatever_pieces_it_is_told() -> None:
    whole = heard(instants(START_MS, 0, 240), START_MS)
    pieces = [heard(instants(START_MS, day, 1), START_MS) for day in range(240)]
    np.testing.assert_array_equal(np.concatenate(pieces), whole)
    for day in range(240):
        for span in outages_of(day, START_MS):
            assert span.start_ms >= START_MS + day * DAY_MS


def test_single_rows_and_readings_are_lost_now_and_then_and_not_together() -> None:
    at_ms = instants(START_MS, 0, DAYS)
    rows = row_came(at_ms, "battery")
    assert 0.0005 < 1 - rows.mean() < 0.003
    one, other = (reading_came(at_ms, "battery", name) for name in ("voltage", "current"))
    assert 0.0002 < 1 - one.mean() < 0.001
    assert (one != other).any()
