"""Which days a reading concerns: the day of the instant 300 s before it to that 300 s after."""

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.spans import local_day
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection
from joulebook.storage.days import dirty_days
from joulebook.storage.marking import REACH_MS, mark, mark_reached, reached_days
from joulebook.storage.records import Site

DAYS = Path(__file__).parents[2] / "data" / "tz_days.csv"
LISBON = ZoneInfo("Europe/Lisbon")


def days_of(instants: list[int], zone: ZoneInfo) -> list[date]:
    times = sorted(instants)

    def next_at(at_ms: int) -> int | None:
        return next((time for time in times if time >= at_ms), None)

    return list(reached_days(next_at, times[0], zone))


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("instants", "expected"),
    [
        (["2026-03-01T12:00"], ["2026-03-01"]),
        # Lisbon is on UTC in winter.
        (["2026-03-01T00:04:59"], ["2026-02-28", "2026-03-01"]),
        (["2026-03-01T00:05:00"], ["2026-03-01"]),
        (["2026-03-01T23:54:59.999"], ["2026-03-01"]),
        (["2026-03-01T23:55:00"], ["2026-03-01", "2026-03-02"]),
        (["2026-03-02T00:00:00"], ["2026-03-01", "2026-03-02"]),
        (["2026-03-01T12:00", "2026-03-04T12:00"], ["2026-03-01", "2026-03-04"]),
        (["2026-03-01T12:00", "2026-03-04T00:01"], ["2026-03-01", "2026-03-03", "2026-03-04"]),
        (
            ["2026-03-01T23:59", "2026-03-02T00:01", "2026-03-02T08:00"],
            ["2026-03-01", "2026-03-02"],
        ),
        # And an hour ahead of it in summer.
        (["2026-07-01T22:54:59"], ["2026-07-01"]),
        (["2026-07-01T22:55:00"], ["2026-07-01", "2026-07-02"]),
    ],
)
def test_a_reading_concerns_the_days_within_five_minutes(
    instants: list[str], expected: list[str]
) -> None:
    found = days_of([ms(text) for text in instants], LISBON)
    assert [day.isoformat() for day in found] == expected


def _file_days() -> list[dict[str, str]]:
    lines = DAYS.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", _file_days(), ids=lambda row: f"{row['zone']} {row['date']}")
def test_days_of_any_length_are_reached_from_their_edges(row: dict[str, str]) -> None:
    # The bounds are those of the file, whose first line names its source.
    zone, day = ZoneInfo(row["zone"]), date.fromisoformat(row["date"])
    start_ms, end_ms = ms(row["start_utc"].rstrip("Z")), ms(row["end_utc"].rstrip("Z"))
    if start_ms == end_ms:  # a date that the zone skipped concerns nobody
        around = days_of([start_ms - 1, start_ms, start_ms + 1], zone)
        assert around == [day - timedelta(days=1), day + timedelta(days=1)]
        return
    inside = [start_ms + REACH_MS, (start_ms + end_ms) // 2, end_ms - REACH_MS - 1]
    assert days_of(inside, zone) == [day]
    assert day in days_of([start_ms - REACH_MS], zone)
    assert day not in days_of([start_ms - REACH_MS - 1], zone)
    assert day in days_of([end_ms + REACH_MS - 1], zone)
    assert day not in days_of([end_ms + REACH_MS], zone)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    st.sampled_from(
        ["Europe/Lisbon", "America/Santiago", "Pacific/Apia", "Australia/Lord_Howe", "UTC"]
    ),
    st.lists(
        st.integers(ms("2011-12-20T00:00"), ms("2012-05-20T00:00")).map(lambda at: at // 1000),
        min_size=1,
        max_size=12,
    ),
)
def test_it_finds_the_days_that_overlap_one_by_one(name: str, instants_s: list[int]) -> None:
    # The witness asks every day of half a year whether any reading's reach overlaps it.
    zone = ZoneInfo(name)
    reaches = [(at * 1000 - REACH_MS, at * 1000 + REACH_MS) for at in instants_s]
    expected = []
    for offset in range(200):
        day = date(2011, 12, 1) + timedelta(days=offset)
        span = local_day(day, zone)
        if any(low < span.end_ms and high >= span.start_ms < span.end_ms for low, high in reaches):
            expected.append(day)
    assert days_of([at * 1000 for at in instants_s], zone) == expected


def test_where_midnight_comes_twice_it_still_ends() -> None:
    # St. John's fell back at 00:01 until 2010: on 7 November 00:00 came twice, and in between
    # the clocks said 23:01 of the day before (tz database, rule "StJohns 2007 2010 Nov Sun>=1").
    # The day begins with the first midnight; the label of 02:45 UTC is 23:15 of the day before.
    zone = ZoneInfo("America/St_Johns")
    days = days_of([ms("2010-11-07T02:45"), ms("2010-11-08T12:00")], zone)
    assert days == [date(2010, 11, 6), date(2010, 11, 7), date(2010, 11, 8)]


def test_each_marking_has_a_mark_that_never_came_before(connection: Connection, site: Site) -> None:
    day = date(2026, 3, 1)
    seen = []
    for _ in range(3):
        with transaction(connection):
            mark(connection, site.id, [day])
        (dirty,) = dirty_days(connection)
        seen.append(dirty.mark)
        connection.execute("DELETE FROM dirty_days")
    assert seen == sorted(set(seen))


def test_readings_of_one_writing_share_a_mark(connection: Connection, site: Site) -> None:
    with transaction(connection):
        times = [ms("2026-03-04T12:00"), ms("2026-03-01T23:59")]
        mark_reached(connection, [(site.id, LISBON, times)])
    dirty = dirty_days(connection)
    assert [one.day for one in dirty] == [date(2026, 3, 4), date(2026, 3, 2), date(2026, 3, 1)]
    assert len({one.mark for one in dirty}) == 1
