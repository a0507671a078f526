from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from joulebook.storage.days import save_day
from joulebook.storage.records import Site
from joulebook.summaries.recompute import recompute
from joulebook.web.spans import months as kept_months
from joulebook.web.spans.months import SiteMonths, months_of
from tests.helpers.databases import write
from tests.helpers.day_results import a_day
from tests.helpers.pages import HOUR_MS, NOW_MS, empty_studio, measured_studio

_SITE = Site(id=1, name="studio", timezone="Europe/Lisbon")
_IN_NOVEMBER_MS = 1_763_985_600_000  # 2025-11-24T12:00:00Z


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


def test_a_month_is_read_again_only_where_a_day_of_it_is_computed_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio = measured_studio(tmp_path)
    at_hand = SiteMonths(studio.database)
    february, march = at_hand.of(studio.site, now_ms=NOW_MS)
    assert (february.first, march.first) == (date(2026, 2, 1), date(2026, 3, 1))
    # By hand, see the helper: 6 days of 36 kWh less the last five minutes of Saturday at 1.5 kW.
    assert february.totals["pv_wh"].value == pytest.approx(6 * 36_000 - 125)
    again = at_hand.of(studio.site, now_ms=NOW_MS)
    assert again[0] is february
    assert again[1] is march
    # An hour later this month has lasted longer, and February has not.
    later = at_hand.of(studio.site, now_ms=NOW_MS + HOUR_MS)
    assert later[0] is february
    assert later[1].coverage_ratio < march.coverage_ratio
    recompute(studio.database, studio.site, clock_ms=lambda: NOW_MS + 1)
    anew = at_hand.of(studio.site, now_ms=NOW_MS)
    assert anew[0] is not february
    assert anew == (february, march)
    monkeypatch.setattr(kept_months, "_MOST_KEPT", 1)
    few = SiteMonths(studio.database)
    assert few.of(studio.site, now_ms=NOW_MS)[0] is not few.of(studio.site, now_ms=NOW_MS)[0]


def test_results_that_do_not_count_are_no_month(tmp_path: Path) -> None:
    studio = empty_studio(tmp_path)
    with closing(studio.database.connect()) as connection:
        save_day(connection, studio.site.id, date(2026, 1, 5), "day-0", b"older", None, 7)
    assert SiteMonths(studio.database).of(studio.site, now_ms=NOW_MS) == ()


def test_months_without_a_result_stand_between_those_with(tmp_path: Path) -> None:
    studio = measured_studio(tmp_path)
    with closing(studio.database.connect()) as connection:
        write(
            connection,
            studio.site,
            "pv",
            {_IN_NOVEMBER_MS + at: {"power": 5.0} for at in (0, 60_000)},
        )
    recompute(studio.database, studio.site, clock_ms=lambda: NOW_MS)
    names = [month.name for month in SiteMonths(studio.database).of(studio.site, now_ms=NOW_MS)]
    assert names[0] == "November 2025"
    assert names[1:4] == ["December 2025", "January 2026", "February 2026"]
