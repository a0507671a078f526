import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli.doctor.store import (
    check_backup,
    check_bridges,
    check_owner,
    growth,
    look_into,
)
from joulebook.settings import Settings
from joulebook.storage.backup_notes import BackupNote, note_backup
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import FILE_NAME, Database
from joulebook.storage.people import add_person, set_password
from joulebook.storage.quick_look import QuickLook, SiteSpan
from tests.helpers.databases import NOON_MS, write

HOUR_MS = 3_600_000
OPEN = Settings(host="0.0.0.0")


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database.open(tmp_path)
    yield database
    database.close()


def test_a_new_database_is_well_and_has_no_site(database: Database) -> None:
    seen, [finding] = look_into(database)
    assert finding.verdict == "well"
    assert seen is not None
    [sites] = check_bridges(seen, NOON_MS)
    assert (sites.verdict, sites.next_step) == ("look", "add one: joulebook site add NAME")


def test_no_database_is_no_trouble(tmp_path: Path) -> None:
    seen, [finding] = look_into(Database(tmp_path))
    assert seen is None
    assert finding.verdict == "look"


def test_a_file_of_somebody_else_is_trouble_and_not_touched(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"not ours" * 100)
    seen, [finding] = look_into(Database(tmp_path))
    assert seen is None
    assert (finding.verdict, finding.status) == ("trouble", 4)
    assert "no database of joulebook" in finding.sentence


def test_a_damaged_index_is_trouble(database: Database) -> None:
    with closing(sqlite3.connect(database.path)) as connection:
        # An index that does not hold what its table does: what a lost write leaves behind.
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute("CREATE TABLE spoiled (a)")
        connection.executemany("INSERT INTO spoiled VALUES (?)", [(n,) for n in range(10)])
        connection.execute("CREATE INDEX ix_spoiled ON spoiled (a)")
        connection.commit()
        (root,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'spoiled'"
        ).fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with database.path.open("r+b") as file:
        file.seek((root - 1) * size + 3)
        file.write(b"\x00\x00")  # cells on the table's page: none (SQLite file format, 1.6)
    _, findings = look_into(database)
    assert findings
    assert all((one.verdict, one.status) == ("trouble", 4) for one in findings)


def test_an_older_schema_is_told_and_nothing_else_is_asked(database: Database) -> None:
    with closing(sqlite3.connect(database.path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
        connection.commit()
    seen, [finding] = look_into(database)
    assert (finding.about, finding.verdict) == ("schema", "look")
    assert "make a backup" in finding.next_step
    assert seen is not None
    assert list(check_owner(seen, OPEN)) == []
    assert list(check_bridges(seen, NOON_MS)) == []


def test_who_owns_it_matters_more_where_others_can_reach_it(database: Database) -> None:
    seen, _ = look_into(database)
    assert seen is not None
    assert [one.verdict for one in check_owner(seen, Settings())] == ["look"]
    assert [one.verdict for one in check_owner(seen, OPEN)] == ["trouble"]
    owned = QuickLook(sentences=(), schema="1", owned=True)
    assert [one.verdict for one in check_owner(owned, OPEN)] == ["well"]


def test_an_owner_is_found_in_the_database(database: Database) -> None:
    with closing(database.connect()) as connection:
        person = add_person(connection, "Ada", everywhere="owner", now_ms=NOON_MS)
        set_password(connection, person.id, "kept")
    seen, _ = look_into(database)
    assert seen is not None
    assert seen.owned


@pytest.mark.parametrize(
    ("after_ms", "verdict", "words"),
    [
        (60_000, "well", "the newest reading is 1 minutes old"),
        (5 * HOUR_MS, "look", "the newest reading is 5 hours old"),
        (72 * HOUR_MS, "look", "the newest reading is 3 days old"),
        (-HOUR_MS, "trouble", "the newest reading is 60 minutes ahead of the clock"),
    ],
)
def test_when_a_site_was_heard(database: Database, after_ms: int, verdict: str, words: str) -> None:
    site = add_site(database, "studio", "Europe/Lisbon")
    add_site(database, "barn", "Europe/Lisbon")
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    seen, _ = look_into(database)
    assert seen is not None
    barn, studio = check_bridges(seen, NOON_MS + after_ms)
    assert (barn.about, barn.verdict) == ("site barn", "look")
    assert (studio.verdict, studio.sentence) == (verdict, words)


def test_when_the_last_backup_was_made(tmp_path: Path) -> None:
    assert [one.verdict for one in check_backup(Database(tmp_path), NOON_MS)] == ["look"]
    note_backup(tmp_path, BackupNote(at_ms=NOON_MS, file="/stick/monday", size_bytes=1))
    [fresh] = check_backup(Database(tmp_path), NOON_MS + 24 * HOUR_MS)
    [old] = check_backup(Database(tmp_path), NOON_MS + 24 * 8 * HOUR_MS)
    assert (fresh.verdict, fresh.sentence) == (
        "well",
        "the last one is 24 hours old: /stick/monday",
    )
    assert old.verdict == "look"


def test_growth_is_known_after_a_week() -> None:
    week = QuickLook(
        sentences=(),
        schema="1",
        sites=(
            SiteSpan(name="barn", first_ms=None, newest_ms=None),
            SiteSpan(name="studio", first_ms=NOON_MS, newest_ms=NOON_MS),
        ),
    )
    assert growth(week, 7_000, NOON_MS + 24 * 7 * HOUR_MS) == 1000.0
    assert growth(week, 7_000, NOON_MS + 24 * 6 * HOUR_MS) is None
    assert growth(QuickLook(sentences=(), schema="1"), 7_000, NOON_MS) is None
