from datetime import date
from zoneinfo import ZoneInfo

from joulebook.web.spans.totals import coverage, elapsed_hours, numbers_of, share, totals_of
from tests.helpers.day_results import a_day

_LISBON = ZoneInfo("Europe/Lisbon")
_NOW_MS = 1_772_625_600_000  # 2026-03-04T12:00:00Z
_TODAY = date(2026, 3, 4)


def test_only_the_hours_that_have_passed_count() -> None:
    def hours(first: date, last: date) -> float:
        return elapsed_hours(first, last, zone=_LISBON, now_ms=_NOW_MS)

    assert hours(date(2026, 3, 2), date(2026, 3, 8)) == 60.0
    assert hours(date(2026, 2, 23), date(2026, 3, 1)) == 168.0
    assert hours(date(2026, 3, 9), date(2026, 3, 15)) == 0.0


def test_a_change_of_the_clocks_counts() -> None:
    # IANA tz database: Lisbon put its clocks back on 26 October 2025, a day of 25 hours.
    day = date(2025, 10, 26)
    assert elapsed_hours(day, day, zone=_LISBON, now_ms=_NOW_MS) == 25.0


def test_a_total_is_the_sum_and_its_coverage_the_share_of_what_has_passed() -> None:
    days = [a_day(date(2026, 3, 2), 10_000.0), a_day(date(2026, 3, 3), 5_000.0, 0.5)]
    total = totals_of(days, hours=60.0)["pv_wh"]
    assert (total.value, total.low, total.high) == (15_000.0, 13_500.0, 16_500.0)
    assert total.coverage_ratio == 36 / 60
    assert total.method == "sum-1 of trapezoid-1"


def test_a_total_of_nothing_is_refused_with_the_reason() -> None:
    silent = totals_of([a_day(_TODAY, None)], hours=12.0)["pv_wh"]
    assert (silent.value, silent.reason) == (None, "the meter was silent")
    assert totals_of([], hours=12.0)["pv_wh"].reason is not None


def test_today_is_measured_as_a_share_of_what_has_passed_of_it() -> None:
    today = a_day(_TODAY, 4_000.0, 0.5)
    assert numbers_of(today, hours=12.0)["pv_wh"].coverage_ratio == 1.0
    assert coverage([today], hours=12.0) == 1.0
    assert coverage([today], hours=24.0) == 0.5


def test_a_share_is_never_above_one_nor_of_nothing() -> None:
    assert share(13.0, 12.0) == 1.0
    assert share(0.0, 0.0) == 0.0
