"""Spans without the grid, and how a house came through them."""

import numpy as np
import pytest

from joulebook.core.checks.inputs import Readings
from joulebook.core.curves import Curve, curve
from joulebook.core.loads.outages import Away, away_in, higher_leg, outage
from joulebook.core.spans import Span

MINUTE_MS = 60_000
AT_MS = np.arange(12, dtype=np.int64) * MINUTE_MS
NOTHING: Readings = (np.empty(0, np.int64), np.empty(0))
#: The grid is away from the fourth reading to the eighth.
GRID = np.array([120, 120.4, 119.8, 0, 0, 0.3, 0, 0, 120, 121, 120, 120])


def load(*watts: float) -> Curve:
    return curve(AT_MS, np.array(watts, dtype=float))


def away() -> Away:
    (found,) = away_in(AT_MS, GRID, 120.0)
    return found


def test_voltage_below_half_of_the_usual_is_away() -> None:
    found = away()
    assert found.span == Span(3 * MINUTE_MS, 8 * MINUTE_MS)
    assert (found.before_ms, found.last_ms, found.over) == (2 * MINUTE_MS, 7 * MINUTE_MS, True)
    assert away_in(AT_MS, GRID + 70, 120.0) == []  # a brown-out: there still


def test_readings_that_are_missing_say_nothing() -> None:
    holes = GRID.copy()
    holes[[4, 8]] = np.nan
    (found,) = away_in(AT_MS, holes, 120.0)
    assert found.span == Span(3 * MINUTE_MS, 9 * MINUTE_MS)


def test_an_outage_can_reach_beyond_the_readings() -> None:
    (found,) = away_in(AT_MS, np.zeros(12), 120.0)
    assert (found.before_ms, found.over, found.span) == (None, False, Span(0, 11 * MINUTE_MS))
    seen = outage(found, None, NOTHING, NOTHING)
    assert (seen.length_s.value, seen.length_s.high) == (660.0, None)


def test_one_leg_alone_is_there_still() -> None:
    # L1-N and L2-N of a split phase (CV-143): as long as one is live, the grid is not away.
    nothing = np.zeros(12)
    assert away_in(AT_MS, higher_leg([GRID, nothing + 120]), 120.0) == []
    assert len(away_in(AT_MS, higher_leg([GRID, nothing]), 120.0)) == 1


def test_a_house_that_went_on() -> None:
    volts = (AT_MS, np.array([53.0, 53, 53, 52.6, 52.4, 52.5, 52.3, 52.4, 53, 53, 53, 53]))
    found = outage(away(), load(*[600] * 12), volts, NOTHING)
    assert (found.carried, found.on_ratio) == ("yes", 1.0)
    # By hand: 600 W for 5 min are 50 Wh.
    assert found.given_wh.value == pytest.approx(50.0)
    assert found.lowest_v.value == 52.3
    # Between 4 min, from away to away, and 6, from there to there.
    assert (found.length_s.low, found.length_s.value, found.length_s.high) == (240, 300, 360)
    assert found.lowest_cell_v.reason == "the lowest cell's voltage is not reported"


def test_a_house_that_went_dark_or_was_not_measured() -> None:
    dark = outage(away(), load(600, 600, 600, 0, 0, 0, 0, 0, 600, 600, 600, 600), NOTHING, NOTHING)
    assert (dark.carried, dark.on_ratio) == ("no", 0.0)
    partly = outage(away(), load(600, 600, 600, 600, 600, 0, 0, 0, 0, 0, 0, 0), NOTHING, NOTHING)
    assert (partly.carried, partly.on_ratio) == ("in part", 0.4)
    unknown = outage(away(), None, NOTHING, NOTHING)
    assert (unknown.carried, unknown.given_wh.reason) == ("unknown", "the load is not measured")
    silent = outage(away(), curve(AT_MS[:2], np.full(2, 600.0)), NOTHING, NOTHING)
    assert silent.carried == "unknown"
    assert silent.given_wh.reason == "the load was not measured meanwhile"
