from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.web.spans.weeks import Week


@pytest.mark.parametrize(
    ("day", "name"),
    [
        # The rule of ISO 8601: week 1 holds the year's first Thursday, weeks begin on Monday.
        # By hand, from weekdays: 1 January 2027 is a Friday, 1 January 2026 a Thursday.
        (date(2027, 1, 1), "2026-W53"),
        (date(2026, 1, 1), "2026-W01"),
        (date(2025, 12, 29), "2026-W01"),
        (date(2026, 11, 25), "2026-W48"),
    ],
)
def test_a_week_is_named_as_iso_8601_names_it(day: date, name: str) -> None:
    assert Week.of(day).name == name
    assert Week.named(name) == Week.of(day)


def test_a_week_runs_from_monday_to_sunday() -> None:
    week = Week.of(date(2026, 11, 25))
    assert (week.monday, week.sunday) == (date(2026, 11, 23), date(2026, 11, 29))
    assert week.shifted(-1).sunday == date(2026, 11, 22)


# ISO 8601: 2026 has a week 53, 2025 and 2027 have none.
@pytest.mark.parametrize(
    ("name", "before"),
    [("2026-W48", "2025-W48"), ("2027-W52", "2026-W52"), ("2026-W53", "2026-W01")],
)
def test_a_week_has_its_like_a_year_before(name: str, before: str) -> None:
    assert Week.named(name).year_before == Week.named(before)


@pytest.mark.parametrize("name", ["2026-W54", "2025-W53", "2026-W00", "2026W48", "2026-48", ""])
def test_a_name_without_a_week_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=r"YYYY-Www|week"):
        Week.named(name)


@settings(derandomize=True, deadline=None)
@given(st.dates(date(2000, 1, 1), date(2199, 12, 31)))
def test_a_week_is_found_again_by_its_name(day: date) -> None:
    week = Week.of(day)
    assert Week.named(week.name) == week
    assert week.monday <= day <= week.sunday
