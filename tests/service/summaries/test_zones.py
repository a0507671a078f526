"""Rules of zones change within days, and for days gone by; here they are made up."""

import logging
import zoneinfo
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import clear_results, dirty_days, save_day
from joulebook.storage.records import Site
from joulebook.storage.zone_rules import zone_rules
from joulebook.summaries.recompute import recompute
from joulebook.summaries.results import day_results_of
from joulebook.summaries.summariser import Summariser
from joulebook.summaries.zones import _rules, note_zone_rules
from tests.helpers.databases import write
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.zone_files import write_zone

ZONE = "Studio/Clay"
NOW_MS = round(datetime(2026, 3, 20, tzinfo=UTC).timestamp()) * 1000
#: Every ten minutes from the first to the tenth of March.
TIMES_MS = range(NOW_MS - 19 * 86_400_000, NOW_MS - 9 * 86_400_000, 600_000)


def set_rules(folder: Path, first_h: float, *changes: tuple[str, float]) -> None:
    """Let the zone go so from now on, as after a restart with other zone data."""
    write_zone(folder, ZONE, first_h, *changes)
    forget_rules()


def forget_rules() -> None:
    """Forget what the process knows of zones, as a restart does."""
    ZoneInfo.clear_cache()
    _rules.cache_clear()


@pytest.fixture
def zones(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "zones"
    zoneinfo.reset_tzpath([folder])
    set_rules(folder, 1.0)
    yield folder
    zoneinfo.reset_tzpath()
    forget_rules()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database.open(tmp_path / "data")
    yield database
    database.close()


@pytest.fixture
def site(zones: Path, database: Database) -> Site:
    assert zones.exists()
    return add_site(database, "kiln", ZONE)


@pytest.fixture
def connection(database: Database, site: Site) -> Iterator[Connection]:
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {at_ms: {"power": 60.0} for at_ms in TIMES_MS})
        recompute(database, site, clock_ms=lambda: NOW_MS)
        assert note_zone_rules(connection, site, now_ms=NOW_MS) == 0
        yield connection


def dirty(connection: Connection) -> list[int]:
    return sorted(each.day.day for each in dirty_days(connection))


def test_the_same_rules_ask_for_nothing(connection: Connection, site: Site) -> None:
    noted = zone_rules(connection, site.id)
    forget_rules()
    assert note_zone_rules(connection, site, now_ms=NOW_MS) == 0
    assert note_zone_rules(connection, site, now_ms=NOW_MS + 3_600_000) == 0
    assert zone_rules(connection, site.id) == noted
    assert dirty(connection) == []


def test_time_that_goes_on_moves_no_day(connection: Connection, site: Site) -> None:
    # Days beyond what was noted are new, not other ones.
    assert note_zone_rules(connection, site, now_ms=NOW_MS + 400 * 86_400_000) == 0
    assert dirty(connection) == []
    assert note_zone_rules(connection, site, now_ms=NOW_MS - 400 * 86_400_000) == 0
    assert dirty(connection) == []


def test_days_from_a_new_rule_on_are_computed_anew(
    connection: Connection,
    database: Database,
    site: Site,
    zones: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    # Clocks go forward at noon of the fifth (13:00 becomes 14:00): that day has 23 hours.
    before = day_results_of(database, site, None, None)
    assert [(day.date.day, day.hours) for day in before] == [(n, 24.0) for n in range(1, 12)]
    set_rules(zones, 1.0, ("2026-03-05T12:00+00:00", 2.0))
    with caplog.at_level(logging.WARNING):
        marked = note_zone_rules(connection, site, now_ms=NOW_MS)
    # And the day before: readings of the fifth reach it.
    assert dirty(connection) == [4, 5, 6, 7, 8, 9, 10, 11]
    assert marked == 8
    assert f"the clocks of {ZONE} go otherwise than was known: 8 days" in caplog.text
    recompute(database, site, clock_ms=lambda: NOW_MS)
    after = day_results_of(database, site, None, None)
    assert [day.hours for day in after][:6] == [24.0, 24.0, 24.0, 24.0, 23.0, 24.0]
    # Each reading is of one day, before and after: none is lost by it, none counted twice.
    for days in (before, after):
        assert sum(day.readings for day in days) == len(TIMES_MS)
    assert note_zone_rules(connection, site, now_ms=NOW_MS) == 0


def test_a_change_that_was_taken_back_marks_its_days_only(
    connection: Connection, site: Site, zones: Path
) -> None:
    set_rules(zones, 1.0, ("2026-03-05T12:00+00:00", 2.0), ("2026-03-08T12:00+00:00", 1.0))
    note_zone_rules(connection, site, now_ms=NOW_MS)
    assert dirty(connection) == [4, 5, 6, 7, 8, 9]


def test_a_day_that_has_no_reading_any_more_is_computed_anew_too(
    connection: Connection, database: Database, site: Site, zones: Path
) -> None:
    # The last readings are of the first hour of the eleventh; an hour less, and it has none.
    clear_results(connection, site.id)
    recompute(database, site, clock_ms=lambda: NOW_MS)
    save_day(connection, site.id, date(2026, 3, 13), "day-0", b"", None, NOW_MS)
    set_rules(zones, 0.0)
    note_zone_rules(connection, site, now_ms=NOW_MS)
    assert 13 in dirty(connection)


def test_what_is_yet_to_come_moves_nothing(
    connection: Connection, site: Site, zones: Path, caplog: pytest.LogCaptureFixture
) -> None:
    noted = zone_rules(connection, site.id)
    set_rules(zones, 1.0, ("2027-03-28T01:00+00:00", 2.0))
    with caplog.at_level(logging.WARNING):
        assert note_zone_rules(connection, site, now_ms=NOW_MS) == 0
    assert (dirty(connection), caplog.text) == ([], "")
    assert zone_rules(connection, site.id) != noted


def test_the_service_computes_them_after_its_next_start(
    connection: Connection, database: Database, site: Site, zones: Path
) -> None:
    set_rules(zones, 1.0, ("2026-03-05T12:00+00:00", 2.0))
    summariser = Summariser(database, clock_ms=lambda: NOW_MS, settle_s=0.0)
    summariser.start()
    try:
        wait_until(lambda: summariser.counts().days_computed == 8)
        # Once is enough, until its owner chooses another zone.
        summariser.nudge()
        connection.execute("UPDATE sites SET timezone = 'Etc/GMT-9'")
        summariser.nudge()
        wait_until(lambda: summariser.counts().days_computed > 8 and not dirty(connection))
    finally:
        summariser.stop()
    moved = replace(site, timezone="Etc/GMT-9")
    days = day_results_of(database, moved, None, None)
    assert [day.hours for day in days] == [24.0] * len(days)
    assert sum(day.readings for day in days) == len(TIMES_MS)
