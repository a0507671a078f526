"""Quiet hours and the letter's hour on the site's clock, by tables of local times.

Clock changes: Lisbon 29 March 2026 01:00 to 02:00, Chicago 1 November 2026 02:00 to 01:00 (IANA
time zone database).
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from joulebook.reminders.quiet import letter_due, not_before_ms
from joulebook.storage.alert_settings import AlertSettings

LISBON, CHICAGO = ZoneInfo("Europe/Lisbon"), ZoneInfo("America/Chicago")
NIGHT = AlertSettings(quiet_from=22 * 60, quiet_to=7 * 60)


def at(text: str, zone: ZoneInfo = LISBON, *, fold: int = 0) -> int:
    local = datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold)
    return round(local.timestamp() * 1000)


@pytest.mark.parametrize(
    ("now", "until"),
    [
        ("2026-07-14T21:59", "2026-07-14T21:59"),
        ("2026-07-14T22:00", "2026-07-15T07:00"),
        ("2026-07-15T03:00", "2026-07-15T07:00"),
        ("2026-07-15T07:00", "2026-07-15T07:00"),
        ("2026-03-28T23:00", "2026-03-29T07:00"),  # seven hours later: one is skipped
    ],
)
def test_what_comes_at_night_waits_for_the_morning(now: str, until: str) -> None:
    assert not_before_ms(NIGHT, LISBON, at(now), dangerous=False) == at(until)


def test_quiet_hours_within_a_day_and_none_at_all() -> None:
    noon = AlertSettings(quiet_from=12 * 60, quiet_to=14 * 60)
    assert not_before_ms(noon, LISBON, at("2026-07-14T13:00"), dangerous=False) == at(
        "2026-07-14T14:00"
    )
    assert not_before_ms(noon, LISBON, at("2026-07-14T14:00"), dangerous=False) == at(
        "2026-07-14T14:00"
    )
    none = AlertSettings(quiet_from=None, quiet_to=None)
    assert not_before_ms(none, LISBON, at("2026-07-14T03:00"), dangerous=False) == at(
        "2026-07-14T03:00"
    )


def test_danger_comes_at_night_unless_the_owner_said_no() -> None:
    night = at("2026-07-15T03:00")
    assert not_before_ms(NIGHT, LISBON, night, dangerous=True) == night
    sleeper = AlertSettings(quiet_from=22 * 60, quiet_to=7 * 60, dangerous_anyway=False)
    assert not_before_ms(sleeper, LISBON, night, dangerous=True) == at("2026-07-15T07:00")


def test_quiet_hours_that_end_in_an_hour_that_comes_twice_end_at_the_first() -> None:
    early = AlertSettings(quiet_from=22 * 60, quiet_to=60 + 30)
    now = at("2026-11-01T00:30", CHICAGO)
    assert not_before_ms(early, CHICAGO, now, dangerous=False) == at("2026-11-01T01:30", CHICAGO)


@pytest.mark.parametrize(
    ("now", "week"),
    [
        ("2026-07-12T17:59", None),  # Sunday
        ("2026-07-12T18:00", "2026-W28"),
        ("2026-07-14T17:59", "2026-W28"),  # two days late
        ("2026-07-14T18:00", None),
        ("2026-07-19T18:00", "2026-W29"),
    ],
)
def test_a_letter_of_sunday_evening_is_due_for_two_days(now: str, week: str | None) -> None:
    sunday = AlertSettings(letter_day=6, letter_hour=18)
    assert letter_due(sunday, LISBON, at(now)) == week


def test_an_hour_that_the_clocks_skip_is_the_one_after_it() -> None:
    one = AlertSettings(letter_day=6, letter_hour=1)
    assert letter_due(one, LISBON, at("2026-03-29T00:59")) is None
    assert letter_due(one, LISBON, at("2026-03-29T02:00")) == "2026-W13"


def test_without_a_day_no_letter_is_due() -> None:
    assert letter_due(AlertSettings(), LISBON, at("2026-07-12T18:00")) is None
