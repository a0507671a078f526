from datetime import date

from joulebook.storage.records import Site
from joulebook.web.months import months_of
from tests.helpers.day_results import a_day
from tests.helpers.pages import NOW_MS

_SITE = Site(id=1, name="studio", timezone="Europe/Lisbon")


def test_no_days_are_no_months() -> None:
    assert months_of(_SITE, [], readings=None, now_ms=NOW_MS) == ()


def test_months_from_the_first_result_to_the_last_with_those_between() -> None:
    days = [a_day(date(2025, 12, 31), 1_000.0), a_day(date(2026, 3, 1), 2_000.0)]
    months = months_of(_SITE, days, readings=None, now_ms=NOW_MS)
    assert [month.name for month in months] == [
        "December 2025",
        "January 2026",
        "February 2026",
        "March 2026",
    ]
    assert [month.totals["pv_wh"].value for month in months] == [1_000.0, None, None, 2_000.0]
    assert [month.so_far for month in months] == [False, False, False, True]


def test_a_month_is_covered_as_a_share_of_what_has_passed_of_it() -> None:
    days = [a_day(date(2026, 2, 28), 1.0), a_day(date(2026, 3, 1), 1.0)]
    february, march = months_of(_SITE, days, readings=None, now_ms=NOW_MS)
    assert february.coverage_ratio == 1 / 28
    assert march.coverage_ratio == 24 / 84
    assert march.first == date(2026, 3, 1)


def test_efficiency_is_refused_with_the_reason() -> None:
    (march,) = months_of(_SITE, [a_day(date(2026, 3, 1), 1.0)], readings=None, now_ms=NOW_MS)
    for number in (march.round_trip, march.conversion, march.idle_w):
        assert number.value is None
        assert number.reason is not None
    assert set(march.assumptions) == {"round_trip", "conversion", "idle_w"}
    assert all(march.assumptions.values())
