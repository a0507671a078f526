"""Which UTC days of a device are dirty after which writes."""

from contextlib import closing
from importlib import import_module
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import DAY_MS, day_of
from joulebook.storage.quarter_marks import (
    clear_quarters,
    days_reached,
    dirty_days_of,
    dirty_quarters,
    mark_outdated_quarters,
    mark_quarters,
)
from joulebook.storage.records import Site
from joulebook.storage.sealing import seal
from tests.helpers.databases import NOON_MS, undone, write
from tests.service.storage.saved_database import FIRST_MS, SAVED, load

MIGRATION = "joulebook.storage.migrations.versions.0003_quarters"
STATEMENTS: tuple[str, ...] = import_module(MIGRATION).STATEMENTS

NOON_DAY = day_of(NOON_MS)
MIDNIGHT_MS = NOON_DAY * DAY_MS


def dirty(connection: Connection) -> list[tuple[str, int]]:
    return [(each.device, each.day - NOON_DAY) for each in dirty_quarters(connection)]


def clean(connection: Connection) -> None:
    connection.execute("DELETE FROM dirty_quarters")


@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(0, 5 * DAY_MS).map(lambda at: at // 100_000 * 100_000)).map(sorted))
def test_a_reading_concerns_the_days_within_five_minutes(times: list[int]) -> None:
    expected = {
        day
        for day in range(-1, 7)
        if any(day * DAY_MS <= at + REACH_MS and at - REACH_MS < (day + 1) * DAY_MS for at in times)
    }
    assert set(days_reached(times)) == expected


def test_written_days_are_dirty_by_device(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    write(connection, site, "battery", {MIDNIGHT_MS: {"power": 1.0}, NOON_MS: {"power": 2.0}})
    assert dirty(connection) == [("pv", 0), ("battery", -1), ("battery", 0)]


def test_only_what_changes_makes_dirty(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    clean(connection)
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    assert dirty(connection) == []
    write(connection, site, "pv", {NOON_MS: {"power": 2.0}})
    assert dirty(connection) == [("pv", 0)]


def test_marks_and_readings_are_one_transaction(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    (before,) = dirty_quarters(connection)
    with undone(connection):
        mark_quarters(connection, [(before.device_id, before.day), (before.device_id, 1)])
    assert dirty_quarters(connection) == [before]
    with transaction(connection):
        mark_quarters(connection, [(before.device_id, before.day)])
    (after,) = dirty_quarters(connection)
    assert after.mark > before.mark


def test_sealing_makes_nothing_dirty(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    clean(connection)
    assert seal(connection, NOON_MS + 30 * DAY_MS).blocks == 1
    assert dirty(connection) == []


def test_they_are_found_by_site_and_before_a_day(
    connection: Connection, database: Database, site: Site
) -> None:
    other = add_site(database, "annexe", "Pacific/Apia")
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}, NOON_MS + DAY_MS: {"power": 1.0}})
    write(connection, other, "pv", {NOON_MS: {"power": 1.0}})
    assert len(dirty_quarters(connection)) == 3
    (before,) = dirty_quarters(connection, before_day=NOON_DAY + 1, site_id=site.id)
    assert (before.day, before.site_id, before.device) == (NOON_DAY, site.id, "pv")
    assert dirty_days_of(connection, before.device_id, NOON_DAY, NOON_DAY + 1) == [NOON_DAY]
    assert dirty_days_of(connection, before.device_id, NOON_DAY + 1, NOON_DAY + 9) == [NOON_DAY + 1]


def test_clearing_marks_hot_and_sealed_days_of_the_site(
    connection: Connection, database: Database, site: Site
) -> None:
    other = add_site(database, "annexe", "Pacific/Apia")
    write(connection, other, "pv", {NOON_MS: {"power": 1.0}})
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}, NOON_MS + DAY_MS: {"power": 2.0}})
    seal(connection, NOON_MS + 40 * DAY_MS)
    write(connection, site, "pv", {NOON_MS + 60 * DAY_MS: {"power": 1.0}})
    clean(connection)
    clear_quarters(connection, site.id)
    # 2026-03-01 was a Sunday: the two days are in blocks of different weeks.
    assert dirty(connection) == [("pv", 0), ("pv", 1), ("pv", 60)]


def test_months_of_another_method_are_marked(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS: {"power": 1.0}})
    clean(connection)
    connection.execute(
        "INSERT INTO quarters (device_id, start_ms, method, data) VALUES (1, ?, 'old-1', ?)",
        (MIDNIGHT_MS, b"\0"),
    )
    mark_outdated_quarters(connection, "old-1")
    assert dirty(connection) == []
    mark_outdated_quarters(connection, "new-2")
    assert dirty(connection) == [("pv", day) for day in range(31)]


def test_what_an_older_database_holds_is_dirty_after_the_migration(tmp_path: Path) -> None:
    database = Database.open(load(tmp_path, SAVED[0]).parent)
    with closing(database.connect()) as connection:
        found = [(each.device, each.day) for each in dirty_quarters(connection)]
    assert found == [("battery", day_of(FIRST_MS)), ("inverter", day_of(FIRST_MS))]


@pytest.mark.on_a_file
def test_sealed_days_of_an_older_database_are_dirty_too(connection: Connection, site: Site) -> None:
    write(connection, site, "pv", {NOON_MS + n * DAY_MS: {"power": 1.0} for n in (1, 2, 4)})
    seal(connection, NOON_MS + 40 * DAY_MS)
    clean(connection)
    for statement in STATEMENTS[2:]:
        connection.execute(statement)
    # One block from its first reading's day to its last one's.
    assert dirty(connection) == [("pv", day) for day in (1, 2, 3, 4)]
