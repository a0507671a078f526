"""SQLite's result codes: https://www.sqlite.org/rescode.html."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Database, DatabaseDamagedError, StorageUnavailableError
from joulebook.storage.days import dirty_count, mark_days
from joulebook.storage.faults import naming_faults, storage_fault
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (sqlite3.SQLITE_FULL, "disk is full"),
        (sqlite3.SQLITE_BUSY, "locked by another program"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "locked by another program"),
        (sqlite3.SQLITE_LOCKED, "locked by another program"),
        (sqlite3.SQLITE_PROTOCOL, "locked by another program"),
        (sqlite3.SQLITE_READONLY_DBMOVED, "may only be read"),
        (sqlite3.SQLITE_PERM, "may only be read"),
        (sqlite3.SQLITE_CANTOPEN_ISDIR, "cannot be opened"),
        (sqlite3.SQLITE_IOERR_FSYNC, "disk failed"),
        (sqlite3.SQLITE_NOMEM, "no memory left"),
    ],
)
def test_what_is_away_is_worth_another_try(code: int, words: str) -> None:
    fault = storage_fault(_error(code), Path("/data/joulebook.sqlite3"))
    assert isinstance(fault, StorageUnavailableError)
    assert words in fault.what
    assert fault.exit_status == 3
    assert [line.split(":")[0].strip() for line in str(fault).splitlines()[1:]] == [
        "where",
        "expected",
        "next",
    ]


@pytest.mark.parametrize("code", [sqlite3.SQLITE_CORRUPT_INDEX, sqlite3.SQLITE_NOTADB])
def test_what_is_damaged_must_not_be_touched(code: int) -> None:
    fault = storage_fault(_error(code), Path("/data/joulebook.sqlite3"))
    assert isinstance(fault, DatabaseDamagedError)
    assert fault.exit_status == 4


@pytest.mark.parametrize("code", [sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT_UNIQUE])
def test_what_is_our_fault_stays_as_it_is(code: int) -> None:
    assert storage_fault(_error(code), Path("/data")) is None


def _error(code: int) -> sqlite3.Error:
    error = sqlite3.OperationalError("said SQLite")
    error.sqlite_errorcode = code
    return error


def test_a_statement_that_makes_no_sense_keeps_its_traceback(
    connection: sqlite3.Connection,
) -> None:
    with pytest.raises(sqlite3.OperationalError, match="no such table"), transaction(connection):
        connection.execute("SELECT * FROM gnomes")
    assert not connection.in_transaction


def test_a_closed_connection_is_a_bug(connection: sqlite3.Connection) -> None:
    connection.close()
    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        dirty_count(connection)


def test_errors_of_other_kinds_pass(tmp_path: Path) -> None:
    with pytest.raises(KeyError), naming_faults(tmp_path):
        raise KeyError


def test_a_lock_that_lasts_is_named(database: Database, connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA busy_timeout = 20")
    with closing(database.connect()) as other, transaction(other):
        with pytest.raises(StorageUnavailableError, match="locked by another"):
            mark_days(connection, 1, [])
        # Reading goes on meanwhile: the log keeps the last commit readable.
        assert dirty_count(connection) == 0
    mark_days(connection, 1, [])


def test_a_database_that_may_only_be_read_is_named(
    connection: sqlite3.Connection, site: Site
) -> None:
    connection.execute("PRAGMA query_only = ON")  # SQLITE_READONLY, as on a read-only disk
    with pytest.raises(StorageUnavailableError, match="may only be read"):
        write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    assert not connection.in_transaction


def test_a_full_disk_is_named_nothing_is_half_written_and_writing_goes_on_after(
    database: Database, connection: sqlite3.Connection, site: Site
) -> None:
    rows = {NOON_MS + 5000 * index: {"power": float(index)} for index in range(20_000)}
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages + 20}")
    with pytest.raises(StorageUnavailableError, match="disk is full"):
        write(connection, site, "battery", rows)
    assert not connection.in_transaction
    assert readings_span(connection, site.id) is None
    assert dirty_count(connection) == 0
    assert connection.execute("SELECT count(*) FROM series").fetchone() == (0,)

    connection.execute("PRAGMA max_page_count = 1000000")
    assert write(connection, site, "battery", rows).new == 20_000
    with closing(database.connect()) as other:
        assert other.execute("SELECT count(*) FROM readings").fetchone() == (20_000,)
        assert other.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_catalogue_names_a_lock_too(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.storage.connections.BUSY_TIMEOUT_S", 0.02)
    with (
        closing(database.connect()) as other,
        transaction(other),
        pytest.raises(StorageUnavailableError, match="locked by another program"),
    ):
        add_site(database, "annexe", "Europe/Lisbon")
