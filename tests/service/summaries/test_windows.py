from datetime import date

import pytest

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span, days_span
from joulebook.summaries.windows import Window, efficiency_of, total, window_of
from tests.helpers.plants import site

STUDIO = site()
READINGS = days_span(date(2026, 6, 3), date(2026, 6, 9), STUDIO.zone)


def _day(number: Estimate, day: int = 3) -> DayResult:
    return DayResult(
        date=date(2026, 6, day),
        hours=24.0,
        coverage_ratio=number.coverage_ratio,
        readings=1,
        numbers={"pv_wh": number, "idle_w": refused("dark", method="idle-1")},
    )


def _wh(value: float, coverage_ratio: float = 1.0) -> Estimate:
    return Estimate(
        value=value,
        low=value - 1,
        high=value + 2,
        coverage_ratio=coverage_ratio,
        method="trapezoid-1",
    )


@pytest.mark.parametrize(
    ("readings", "first", "last", "window"),
    [
        (READINGS, None, None, Window(date(2026, 6, 3), date(2026, 6, 9))),
        (READINGS, date(2026, 6, 5), None, Window(date(2026, 6, 5), date(2026, 6, 9))),
        (READINGS, date(2025, 1, 1), date(2026, 6, 4), Window(date(2026, 6, 3), date(2026, 6, 4))),
        (READINGS, date(2027, 1, 1), None, Window(None, None)),
        (None, date(2026, 6, 5), None, Window(None, None)),
    ],
)
def test_a_window_goes_no_further_than_its_readings(
    readings: Span | None, first: date | None, last: date | None, window: Window
) -> None:
    assert window_of(readings, STUDIO, first, last) == window


def test_sums_keep_the_intervals_ends_and_count_missing_days_as_missing() -> None:
    days = [_day(_wh(100.0)), _day(_wh(50.0, 0.5)), _day(refused("silent", method="trapezoid-1"))]
    found = total(days, "pv_wh", window_h=96.0, method="sum-1")
    assert (found.value, found.low, found.high) == (150.0, 148.0, 154.0)
    assert found.coverage_ratio == (24 + 12) / 96


def test_a_sum_of_nothing_gives_the_last_reason() -> None:
    days = [_day(refused("first", method="x")), _day(refused("silent", method="x"))]
    assert total(days, "pv_wh", window_h=48.0, method="sum-1").reason == "silent"
    assert total([], "pv_wh", window_h=0.0, method="sum-1").reason == "no day has a result yet"


def test_days_without_runs_give_no_round_trip() -> None:
    window = Window(date(2026, 6, 3), date(2026, 6, 3))
    found = efficiency_of([_day(_wh(1.0))], STUDIO, window)
    assert found.round_trip.reason == (
        "no battery power and state of charge were measured together"
    )
    assert found.round_trip_inputs == {}
