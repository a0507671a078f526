from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import click
import pytest

from joulebook.cli.local_times import local_time, shown_local

LISBON = ZoneInfo("Europe/Lisbon")


def ms(month: int, day: int, hour: int, minute: int = 0, second: int = 0) -> int:
    return round(datetime(2026, month, day, hour, minute, second, tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    "text",
    ["2026-07-14 12:30", "2026-07-14T12:30", "2026-07-14 12:30:00", "2026-07-14T12:30:00"],
)
def test_a_time_is_of_the_site_s_own_clock(text: str) -> None:
    # Lisbon is an hour ahead of UTC in summer.
    time = local_time(text)
    assert time.begin_ms(LISBON) == time.end_ms(LISBON) == ms(7, 14, 11, 30)


def test_a_day_begins_and_ends_at_local_midnight() -> None:
    day = local_time("2026-07-14")
    assert day.begin_ms(LISBON) == ms(7, 13, 23)
    assert day.end_ms(LISBON) == ms(7, 14, 23)


def test_of_an_hour_that_comes_twice_the_first_is_meant() -> None:
    # Lisbon's clocks went from 2 back to 1 on 25 October 2026 at 1:00 UTC (tz database).
    assert local_time("2026-10-25 01:30").begin_ms(LISBON) == ms(10, 25, 0, 30)


@pytest.mark.parametrize("text", ["", "yesterday", "14.7.2026", "2026-07-14 25:00", "2026-13-01"])
def test_anything_else_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(click.BadParameter, match="2026-07-14 12:30"):
        local_time(text)


def test_an_instant_is_shown_on_the_site_s_clock() -> None:
    assert shown_local(ms(7, 14, 11, 30, 59), LISBON) == "2026-07-14 12:30"
