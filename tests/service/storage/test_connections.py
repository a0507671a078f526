import sqlite3
from contextlib import closing
from datetime import date

import pytest

from joulebook.storage.connections import (
    joined,
    joined_snapshot,
    on_server,
    require_transaction,
    transaction,
    turn,
)
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_count, mark_days
from joulebook.storage.records import Site
from tests.helpers.databases import undone

DAY = date(2026, 3, 1)


def test_all_is_written_at_the_end_and_others_see_nothing_before(
    database: Database, connection: sqlite3.Connection, site: Site
) -> None:
    with closing(database.connect()) as other:
        with transaction(connection):
            mark_days(connection, site.id, [DAY])
            assert dirty_count(other) == 0
        assert dirty_count(other) == 1


def test_nothing_is_written_where_an_error_passes(
    connection: sqlite3.Connection, site: Site
) -> None:
    with undone(connection):
        mark_days(connection, site.id, [DAY])
    assert dirty_count(connection) == 0
    assert not connection.in_transaction


def test_a_second_transaction_inside_the_first_is_a_bug(connection: sqlite3.Connection) -> None:
    with transaction(connection), pytest.raises(RuntimeError, match="open already"):
        transaction(connection).__enter__()


def test_joining_leaves_the_commit_to_the_caller(
    connection: sqlite3.Connection, site: Site
) -> None:
    with undone(connection), joined(connection):
        mark_days(connection, site.id, [DAY])
    assert dirty_count(connection) == 0


def test_joining_nothing_commits(connection: sqlite3.Connection, site: Site) -> None:
    with joined(connection):
        mark_days(connection, site.id, [DAY])
    assert not connection.in_transaction
    assert dirty_count(connection) == 1


def test_a_snapshot_sees_one_commit_and_no_later_one(
    database: Database, connection: sqlite3.Connection, site: Site
) -> None:
    with closing(database.connect()) as other:
        with joined_snapshot(connection):
            assert dirty_count(connection) == 0
            mark_days(other, site.id, [DAY])
            assert dirty_count(connection) == 0
        assert dirty_count(connection) == 1
        assert not connection.in_transaction


def test_a_snapshot_inside_a_transaction_sees_what_that_wrote(
    connection: sqlite3.Connection, site: Site
) -> None:
    with undone(connection):
        mark_days(connection, site.id, [DAY])
        with joined_snapshot(connection):
            assert dirty_count(connection) == 1
        assert connection.in_transaction


def test_a_snapshot_that_sqlite_ended_itself_is_over(connection: sqlite3.Connection) -> None:
    with joined_snapshot(connection):
        connection.execute("ROLLBACK")  # as SQLite does upon some faults
    assert not connection.in_transaction


def test_a_writer_asks_for_a_transaction(connection: sqlite3.Connection) -> None:
    with pytest.raises(RuntimeError, match="only inside a transaction"):
        require_transaction(connection)


def test_reading_the_catalogue_waits_for_no_writer(
    database: Database, connection: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.storage.connections.BUSY_TIMEOUT_S", 0.0)
    with (
        transaction(connection),
        database.engine.execution_options(reads=True).begin() as catalogue,
    ):
        assert catalogue.exec_driver_sql("SELECT name FROM sites").scalar_one() == "studio"


def test_a_turn_is_of_one_at_a_time_on_a_server_and_always_ours_in_a_file(
    database: Database, connection: Connection
) -> None:
    with closing(database.connect()) as other:
        with turn(connection, "days", 7) as ours, turn(other, "days", 7) as theirs:
            assert (ours, theirs) == (True, not on_server(other))
            with turn(other, "days", 8) as another:
                assert another
        with turn(other, "days", 7) as theirs:
            assert theirs
