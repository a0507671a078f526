"""Databases that earlier versions left behind, opened by this one."""

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.alerts import episodes_of
from joulebook.storage.catalogue import sites
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Database
from joulebook.storage.days import day_results, dirty_days, save_day
from joulebook.storage.deep_tests import deep_tests_of
from joulebook.storage.deliveries import deliveries_of
from joulebook.storage.event_photos import whole_photos
from joulebook.storage.events import events_of
from joulebook.storage.periods import DAY_MS
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import latest_readings, read_device
from joulebook.storage.record_results import record_result
from joulebook.storage.records import Column, Value, Written
from joulebook.storage.seal_links import broken_link, links_of
from joulebook.storage.sealing import seal
from joulebook.storage.series import series_of
from joulebook.storage.sign_offs import sign_offs_of
from joulebook.storage.tariffs import tariffs_of
from joulebook.storage.tokens import check_token
from joulebook.storage.verify import verify_file
from tests.helpers.databases import write
from tests.service.storage.saved_database import (
    DEEP_TEST,
    FIRST_MS,
    HALVED,
    PANELS,
    REFUSED,
    SAVED,
    SECRET,
    load,
    save,
)

#: A newer pcodec may pack the same readings into other bytes.
BLOCK = 'INSERT INTO "blocks"'


def test_the_newest_saved_database_is_what_its_maker_makes(tmp_path: Path) -> None:
    save(tmp_path / "again.sql")
    again, saved = (
        [line for line in file.read_text(encoding="utf-8").splitlines() if BLOCK not in line]
        for file in (tmp_path / "again.sql", SAVED[-1])
    )
    assert again == saved


@pytest.mark.parametrize("saved", SAVED, ids=lambda file: file.stem)
def test_a_saved_database_is_read_by_this_version(tmp_path: Path, saved: Path) -> None:
    database = Database.open(load(tmp_path, saved).parent)
    annexe, studio = sites(database)
    assert (annexe.name, annexe.timezone, annexe.battery_ah) == ("annexe", "Pacific/Apia", None)
    assert (studio.battery_cells, studio.installed) == (16, date(2025, 1, 15))
    # Which nobody could enter before schema 0007.
    assert studio.inverter_w == (6500.0 if saved in SAVED[4:] else None)
    grant = check_token(database, "bridge", SECRET)
    assert grant is not None
    assert (grant.site, grant.site_id) == ("studio", studio.id)
    with closing(database.connect()) as connection:
        assert [series.quantity for series in series_of(connection, studio.id)] == [
            "power",
            "soc",
            "state",
            "fan",
        ]
        span = Span(FIRST_MS, FIRST_MS + 60_000)
        battery = read_device(connection, studio.id, "battery", span)
        assert battery.at_ms.tolist() == [FIRST_MS, FIRST_MS + 5000, FIRST_MS + 10000]
        np.testing.assert_array_equal(battery.values["power"], [812.5, -0.25, np.nan])
        np.testing.assert_array_equal(battery.values["soc"], [0.5, np.nan, 0.75])
        latest = {one.series.quantity: one.value for one in latest_readings(connection, studio.id)}
        assert latest == {"power": -0.25, "soc": 0.75, "state": "waiting", "fan": True}
        # Two minutes before midnight: both days are concerned.
        assert [dirty.day for dirty in dirty_days(connection)] == [
            date(2026, 3, 2),
            date(2026, 3, 1),
        ]
        results = day_results(connection, studio.id, None, None)
        assert results == [(date(2026, 3, 1), "day-1", b"{}")]
        (kept,) = quarantined(connection, studio.id)
        assert (kept.refused, kept.times_seen) == (REFUSED, 2)


def test_what_its_owner_said_of_a_saved_database_is_read_by_this_version(tmp_path: Path) -> None:
    database = Database.open(load(tmp_path, SAVED[3]).parent)
    (site_id,) = {site.id for site in sites(database) if site.name == "studio"}
    with closing(database.connect()) as connection:
        assert corrections_of(connection, site_id) == [HALVED]
        assert events_of(connection, site_id) == [PANELS]
        assert deep_tests_of(connection, site_id) == [DEEP_TEST]
        result = record_result(connection, site_id, "record")
        assert result is not None
        assert (result.result, result.method, result.behind) == (b"{}", "record-1", True)


def test_what_was_signed_priced_and_told_is_read_by_this_version(tmp_path: Path) -> None:
    database = Database.open(load(tmp_path, SAVED[5]).parent)
    (site_id,) = {site.id for site in sites(database) if site.name == "studio"}
    with closing(database.connect()) as connection:
        [signed] = sign_offs_of(connection, site_id)
        assert (signed.is_whole, signed.name) == (True, "Ada")
        [version] = tariffs_of(connection, site_id)
        assert version.tariff.currency == "EUR"
        assert [each.rule for each in episodes_of(connection, site_id)] == ["disk"]
        assert [each.told.title for each in deliveries_of(connection, site_id)] == ["studio: full"]
        assert broken_link(links_of(connection, site_id)) is None


def test_a_photo_is_read_by_this_version_and_looked_at_where_there_may_be_one(
    tmp_path: Path,
) -> None:
    older = load(tmp_path, SAVED[7])
    assert "photos" not in verify_file(older, result_fault=lambda _method, _result: None).checked
    older.unlink()
    newer = load(tmp_path, SAVED[8])
    # Its one photo is no picture, but to the bit what was kept.
    found = verify_file(newer, result_fault=lambda _method, _result: None)
    assert (found.checked["photos"], found.damage) == (1, [])
    database = Database.open(newer.parent)
    (site_id,) = {site.id for site in sites(database) if site.name == "studio"}
    with closing(database.connect()) as connection:
        [(photo, jpeg)] = whole_photos(connection, site_id)
    assert (photo.caption, photo.width, jpeg) == ("The roof", 8, b"no picture")


@pytest.mark.parametrize("saved", SAVED, ids=lambda file: file.stem)
def test_what_was_saved_can_be_sealed(tmp_path: Path, saved: Path) -> None:
    database = Database.open(load(tmp_path, saved).parent)
    whole = Span(0, FIRST_MS + 60_000)
    with closing(database.connect()) as connection:
        # The second site is the studio.
        before = read_device(connection, 1, "battery", whole)
        assert len(before.at_ms) == 3
        assert seal(connection, FIRST_MS + 10 * DAY_MS).damaged == ()
        assert connection.execute("SELECT count(*) FROM readings").fetchone() == (0,)
        assert connection.execute("SELECT sum(rows) FROM blocks").fetchone() == (4,)
        after = read_device(connection, 1, "battery", whole)
        np.testing.assert_array_equal(after.at_ms, before.at_ms)
        np.testing.assert_equal(after.values, before.values)
        # All of it is known: sent again, nothing is new.
        row: dict[int, dict[str, Value]] = {FIRST_MS: {"power": 812.5, "soc": 0.5}}
        columns = [Column("power", "W"), Column("soc", "/")]
        assert write(connection, sites(database)[1], "battery", row, columns) == Written(repeated=2)


def test_what_is_final_stays_so_where_results_move(tmp_path: Path) -> None:
    path = load(tmp_path, SAVED[1])
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("INSERT INTO final_before VALUES (1, '2026-03-02', 0)")
        connection.commit()
    with closing(Database.open(tmp_path).connect()) as connection:
        connection.execute("DELETE FROM day_results")
        connection.execute("UPDATE day_results SET method = 'other'")
        save_day(connection, 1, date(2026, 2, 28), "day-1", b"{}", None, FIRST_MS)
        save_day(connection, 1, date(2026, 3, 2), "day-1", b"{}", None, FIRST_MS)
        assert day_results(connection, 1, None, None) == [
            (date(2026, 3, 1), "day-1", b"{}"),
            (date(2026, 3, 2), "day-1", b"{}"),
        ]


@pytest.mark.parametrize("saved", SAVED, ids=lambda file: file.stem)
def test_a_year_of_results_takes_little_more_than_its_bytes(tmp_path: Path, saved: Path) -> None:
    path = load(tmp_path, saved)
    result = bytes(1300)
    with closing(sqlite3.connect(path)) as connection:
        connection.executemany(
            """
            INSERT INTO day_results (site_id, day, method, result, computed_ms)
            VALUES (2, ?, 'day-1', ?, 0)
            """,
            [(date.fromordinal(700_000 + day).isoformat(), result) for day in range(365)],
        )
        connection.commit()
    with closing(Database.open(tmp_path).connect()) as connection:
        used = []
        for _ in range(2):
            connection.execute("VACUUM")
            used.append(connection.execute("PRAGMA page_count").fetchone()[0])
            connection.execute("DELETE FROM day_results")
    assert 365 * len(result) < (used[0] - used[1]) * 4096 < 1.1 * 365 * len(result)


def test_days_before_1970_are_noted_as_hot_too(tmp_path: Path) -> None:
    path = load(tmp_path, SAVED[0])
    with closing(sqlite3.connect(path)) as connection:
        connection.executemany(
            "INSERT INTO readings (device_id, at_ms, v0) VALUES (1, ?, 1.0)",
            [(-1,), (-DAY_MS,), (-DAY_MS - 1,), (0,)],
        )
        connection.commit()
    with closing(Database.open(tmp_path).connect()) as connection:
        days = connection.execute("SELECT day FROM hot_days WHERE device_id = 1 ORDER BY day")
        assert [day for (day,) in days] == [-2, -1, 0, FIRST_MS // DAY_MS]
