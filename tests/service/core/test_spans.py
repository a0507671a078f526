"""Local days against the tz database, as package tzdata has it and not as this machine may."""

import csv
import zoneinfo
from collections.abc import Iterator
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.daily.energy import integrate
from joulebook.core.spans import (
    MidnightRun,
    Span,
    date_of,
    dates,
    days_span,
    even_pieces,
    local_clock,
    local_day,
    midnight_runs,
    same_clock,
)

DATA = Path(__file__).parents[2] / "data" / "tz_days.csv"


def _rows() -> list[dict[str, str]]:
    with DATA.open(encoding="utf-8") as file:
        next(file)  # where the file comes from
        return list(csv.DictReader(file))


def _ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.fixture(autouse=True)
def _package_tzdata() -> Iterator[None]:
    ZoneInfo.clear_cache()
    zoneinfo.reset_tzpath([])
    yield
    zoneinfo.reset_tzpath()
    ZoneInfo.clear_cache()


# CV-55 to 59: IANA tz database, package tzdata 2026.6.
@pytest.mark.parametrize("row", _rows(), ids=lambda row: f"{row['zone']} {row['date']}")
def test_a_day_begins_and_ends_where_the_tz_database_says(row: dict[str, str]) -> None:
    span = local_day(date.fromisoformat(row["date"]), ZoneInfo(row["zone"]))
    assert span == Span(_ms(row["start_utc"]), _ms(row["end_utc"]))
    assert span.length_s == float(row["hours"]) * 3600


# CV-59b: 1000 W for h hours are 1000·h Wh, exactly.
@pytest.mark.parametrize("row", _rows(), ids=lambda row: f"{row['zone']} {row['date']}")
def test_constant_power_over_a_day_gives_its_hours(row: dict[str, str]) -> None:
    span = local_day(date.fromisoformat(row["date"]), ZoneInfo(row["zone"]))
    at_ms = np.arange(span.start_ms - 60_000, span.end_ms + 60_001, 60_000, dtype=np.int64)
    energy = integrate(at_ms, np.full(at_ms.size, 1000.0), span=span)
    assert energy.positive == 1000 * float(row["hours"])
    assert (energy.negative, energy.coverage_ratio) == (0.0, 1.0)


def test_the_check_file_holds_the_odd_days() -> None:
    hours = {float(row["hours"]) for row in _rows()}
    assert {0.0, 23.0, 23.5, 24.0, 24.5, 25.0} <= hours


# CV-57: clocks in Chile went from 23:59:59 to 01:00; the day begins at 01:00.
def test_midnight_belongs_to_the_day_it_begins_even_where_there_is_none() -> None:
    zone = ZoneInfo("America/Santiago")
    start_ms = local_day(date(2025, 9, 7), zone).start_ms
    assert datetime.fromtimestamp(start_ms / 1000, tz=zone).hour == 1
    assert date_of(start_ms, zone) == date(2025, 9, 7)
    assert date_of(start_ms - 1, zone) == date(2025, 9, 6)


def test_days_follow_each_other_without_gap_or_overlap() -> None:
    zone = ZoneInfo("Australia/Lord_Howe")
    days = list(dates(date(2025, 1, 1), date(2025, 12, 31)))
    spans = [local_day(day, zone) for day in days]
    assert len(days) == 365
    assert all(a.end_ms == b.start_ms for a, b in pairwise(spans))
    assert days_span(days[0], days[-1], zone) == Span(spans[0].start_ms, spans[-1].end_ms)


def test_a_span_does_not_end_before_it_starts() -> None:
    now_ms = round(datetime(2026, 1, 1, tzinfo=UTC).timestamp() * 1000)
    with pytest.raises(ValueError, match="ends before it starts"):
        Span(now_ms, now_ms - 1)


HOUR_MS = 3_600_000


def _hours(day: str, zone: str) -> list[tuple[float, float]]:
    """Return of each piece what the clocks show at its start, and how long it is. [h]"""
    return [
        (clock_ms / HOUR_MS, piece.length_s / 3600)
        for clock_ms, piece in even_pieces(date.fromisoformat(day), ZoneInfo(zone))
    ]


# Changes of the clocks by the IANA tz database, as in the check file.
def test_clocks_run_evenly_but_for_a_change() -> None:
    assert _hours("2026-03-04", "Europe/Lisbon") == [(0.0, 24.0)]
    # Chicago, 8 March 2026: 02:00 becomes 03:00.
    assert _hours("2026-03-08", "America/Chicago") == [(0.0, 2.0), (3.0, 21.0)]
    # Chicago, 1 November 2026: 02:00 becomes 01:00; the second time from 01:00 on is left out.
    assert _hours("2026-11-01", "America/Chicago") == [(0.0, 2.0), (2.0, 22.0)]
    # Santiago, 7 September 2025: the day begins at 01:00.
    assert _hours("2025-09-07", "America/Santiago") == [(1.0, 23.0)]
    # Samoa skipped 30 December 2011.
    assert _hours("2011-12-30", "Pacific/Apia") == []


def test_pieces_lie_within_their_day() -> None:
    zone = ZoneInfo("America/Chicago")
    day = local_day(date(2026, 11, 1), zone)
    (_, first), (_, last) = even_pieces(date(2026, 11, 1), zone)
    assert (first.start_ms, last.end_ms) == (day.start_ms, day.end_ms)
    assert last.start_ms - first.end_ms == HOUR_MS


def test_times_of_two_days_belong_together_by_their_clocks() -> None:
    zone = ZoneInfo("America/Chicago")
    spring, usual = date(2026, 3, 8), date(2026, 3, 1)
    pairs = same_clock(spring, usual, zone)
    # 00:00 to 02:00, and 03:00 to 24:00: what the clocks skipped has nothing beside it.
    assert [here.length_s / 3600 for here, _ in pairs] == [2.0, 21.0]
    assert [there.length_s / 3600 for _, there in pairs] == [2.0, 21.0]
    for here, there in pairs:
        shown = [
            datetime.fromtimestamp(each.start_ms / 1000, tz=zone).time() for each in (here, there)
        ]
        assert shown[0] == shown[1]
    assert pairs[0][0].start_ms == local_day(spring, zone).start_ms
    assert pairs[1][1].end_ms == local_day(usual, zone).end_ms


def test_nothing_stands_beside_a_day_that_was_skipped() -> None:
    zone = ZoneInfo("Pacific/Apia")
    assert same_clock(date(2011, 12, 30), date(2011, 12, 23), zone) == []


def test_of_two_days_with_the_same_change_each_piece_has_its_own() -> None:
    # Both days skip 02:00 to 03:00.
    pairs = same_clock(date(2026, 3, 8), date(2026, 3, 8), ZoneInfo("America/Chicago"))
    assert [here for here, _ in pairs] == [there for _, there in pairs]
    assert [here.length_s / 3600 for here, _ in pairs] == [2.0, 21.0]


def test_midnights_are_told_in_runs() -> None:
    # Lisbon: clocks go forward on the last Sunday of March and back on that of October (EU
    # directive 2000/84/EC): the midnights after those Sundays are the first of their run.
    assert midnight_runs(date(2026, 1, 1), date(2026, 12, 31), ZoneInfo("Europe/Lisbon")) == (
        MidnightRun(date(2026, 1, 1), 0),
        MidnightRun(date(2026, 3, 30), 3600),
        MidnightRun(date(2026, 10, 26), 0),
    )


def test_runs_say_where_each_day_begins() -> None:
    zone = ZoneInfo("Pacific/Apia")
    (first, *_, last) = midnight_runs(date(2011, 12, 1), date(2012, 1, 3), zone)
    # Samoa went over the date line at the end of 2011-12-29: a day later, 24 hours more ahead.
    assert (first.ahead_s, last.ahead_s) == (-10 * 3600, 14 * 3600)


def test_clocks_on_the_wall_of_many_instants() -> None:
    # As the IANA database has it: at 01:00 UTC on 25 October 2026 Lisbon's clocks go back.
    zone = ZoneInfo("Europe/Lisbon")
    change_ms = round(datetime(2026, 10, 25, 1, tzinfo=UTC).timestamp() * 1000)
    at_ms = change_ms + np.arange(-4, 5) * 900_000
    day, minute = local_clock(at_ms, zone)
    assert minute.tolist() == [60, 75, 90, 105, 60, 75, 90, 105, 120]
    assert {date(1970, 1, 1).toordinal() + int(each) for each in day} == {
        date(2026, 10, 25).toordinal()
    }


@pytest.mark.parametrize("name", ["Australia/Lord_Howe", "America/Chicago", "Asia/Kathmandu"])
def test_clocks_on_the_wall_are_those_of_the_standard_library(name: str) -> None:
    zone = ZoneInfo(name)
    first_ms = round(datetime(2026, 3, 1, tzinfo=UTC).timestamp() * 1000)
    at_ms = first_ms + np.arange(0, 260 * 96, 37) * 900_000
    day, minute = local_clock(at_ms, zone)
    for place, instant in enumerate(at_ms.tolist()):
        local = datetime.fromtimestamp(instant / 1000, tz=zone)
        assert date(1970, 1, 1).toordinal() + int(day[place]) == local.date().toordinal()
        assert minute[place] == local.hour * 60 + local.minute


def test_no_instants_have_no_clocks() -> None:
    assert [each.size for each in local_clock(np.empty(0, np.int64), ZoneInfo("UTC"))] == [0, 0]
