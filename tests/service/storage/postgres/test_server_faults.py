"""What a server's faults are told as, and that nothing is lost or half written by them."""

from collections.abc import Iterator
from contextlib import ExitStack, closing
from datetime import date
from pathlib import Path

import psycopg
import pytest

from joulebook.storage.catalogue import sites
from joulebook.storage.connections import ServerConnection, transaction, wait_for_nobody
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.days import dirty_count, mark_days
from joulebook.storage.faults import DatabaseDamagedError, StorageUnavailableError, storage_fault
from joulebook.storage.postgres.faults import server_fault
from joulebook.storage.records import Site
from tests.helpers.databases import studio
from tests.helpers.postgres import PostgresServer
from tests.service.storage.postgres.conftest import connected

pytestmark = pytest.mark.outside

DAYS = [date(2026, 3, 1), date(2026, 3, 2)]


@pytest.fixture
def house(own_server: PostgresServer, tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path, server=own_server.place())
    yield database, site
    database.close()


def test_a_server_that_was_restarted_costs_one_statement(
    own_server: PostgresServer, house: tuple[Database, Site]
) -> None:
    database, site = house
    with closing(connected(database)) as connection:
        mark_days(connection, site.id, DAYS)
        connected(database).close()  # one that nobody holds is lost too
        own_server.stop()
        with pytest.raises(StorageUnavailableError):
            dirty_count(connection)
        with pytest.raises(StorageUnavailableError, match="cannot be reached"):
            dirty_count(connection)
        own_server.start()
        assert dirty_count(connection) == 2
        with closing(connected(database)) as another:
            assert dirty_count(another) == 2
    assert [one.name for one in sites(database)] == ["studio"]


def test_a_server_killed_inside_a_transaction_leaves_nothing_of_it(
    own_server: PostgresServer, house: tuple[Database, Site]
) -> None:
    database, site = house
    with closing(connected(database)) as connection:
        mark_days(connection, site.id, DAYS[:1])
        with ExitStack() as under_way:
            under_way.enter_context(transaction(connection))
            mark_days(connection, site.id, DAYS)
            own_server.kill()
            with pytest.raises(StorageUnavailableError):
                mark_days(connection, site.id, DAYS)
            # Whoever caught that and carries on is told again: there is nothing to commit.
            with pytest.raises(StorageUnavailableError):
                under_way.close()
        assert not connection.in_transaction
        own_server.start()
        assert dirty_count(connection) == 1
        with transaction(connection, [site.id]):
            mark_days(connection, site.id, DAYS)
        assert dirty_count(connection) == 2


def test_an_error_of_ours_is_told_although_the_server_has_gone(
    served: tuple[Database, Site], link: ServerConnection
) -> None:
    with closing(connected(served[0])) as connection:
        (number,) = connection.execute("SELECT pg_backend_pid()").fetchone()

        def end_and_fail() -> None:
            with transaction(connection, []):
                link.execute("SELECT pg_terminate_backend(?, 5000)", (number,))
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            end_and_fail()
        assert dirty_count(connection) == 0


def test_a_lock_that_is_not_given_is_told(link: ServerConnection, other: ServerConnection) -> None:
    with transaction(other):
        wait_for_nobody(link)
        with (
            pytest.raises(StorageUnavailableError, match="locked by another program") as caught,
            transaction(link),
        ):
            pytest.fail("nobody lets it in")
    assert not link.in_transaction
    assert "wait for the other program" in caught.value.next_step


def test_a_process_with_too_few_connections_is_told(
    postgres: PostgresServer, tmp_path: Path
) -> None:
    url = postgres.emptied_place().url
    with closing(Database.open(tmp_path, ServerPlace(url=url, connections=3, wait_s=0.1))) as few:
        with closing(few.connect()), pytest.raises(StorageUnavailableError, match="in use for"):
            few.connect()
        few.connect().close()


def test_a_server_that_only_reads_is_told(
    link: ServerConnection, served: tuple[Database, Site]
) -> None:
    link.execute("SET default_transaction_read_only = on")
    with pytest.raises(StorageUnavailableError, match="may only be read"):
        mark_days(link, served[1].id, DAYS)
    link.execute("SET default_transaction_read_only = off")
    mark_days(link, served[1].id, DAYS)


def test_a_statement_that_takes_too_long_is_ended(link: ServerConnection) -> None:
    link.execute("SET statement_timeout = 1")
    with pytest.raises(StorageUnavailableError, match="ended what was under way"):
        link.execute("SELECT count(*) FROM generate_series(1, 100000000)")


class _BrokenPageError(psycopg.InternalError):
    sqlstate = "XX001"  # data_corrupted


def test_a_damaged_page_is_damage_and_an_error_of_ours_stays_one(link: ServerConnection) -> None:
    told = server_fault(_BrokenPageError("invalid page in block 7"), link.address)
    assert isinstance(told, DatabaseDamagedError)
    assert "invalid page in block 7" in told.what
    assert server_fault(ValueError("no"), link.address) is None
    with pytest.raises(psycopg.errors.UndefinedTable):
        link.execute("SELECT * FROM shelves")
    with pytest.raises(psycopg.errors.UndefinedTable):
        link.executemany("INSERT INTO shelves VALUES (?)", [(1,)])


@pytest.mark.parametrize(
    ("error", "what"),
    [
        (psycopg.errors.DeadlockDetected, "broke off one of two that waited for each other"),
        (psycopg.errors.DiskFull, "has no room left"),
        (psycopg.errors.IoError, "the database server's disk failed"),
        (psycopg.errors.AdminShutdown, "ended what was under way"),
    ],
)
def test_faults_that_no_test_can_make_are_told_by_their_code(
    error: type[psycopg.Error], what: str
) -> None:
    told = server_fault(error("it says so\nand more"), "there")
    assert isinstance(told, StorageUnavailableError)
    assert what in told.what
    assert told.what.endswith("(it says so)")


@pytest.mark.parametrize(
    ("words", "what"),
    [
        ("", "cannot be reached (OperationalError)"),
        ("FATAL:  sorry, too many clients already", "has no room left"),
        ("FATAL:  the database system is starting up", "ended what was under way"),
        ("FATAL:  no pg_hba.conf entry for host", "does not let us in"),
        ("connection refused\nIs the server running?", "cannot be reached (connection refused)"),
    ],
)
def test_what_comes_without_a_code_is_known_by_its_words(words: str, what: str) -> None:
    told = server_fault(psycopg.OperationalError(words), "there")
    assert isinstance(told, StorageUnavailableError)
    assert what in told.what


def test_a_fault_names_the_server_that_a_connection_is_to(
    served: tuple[Database, Site], link: ServerConnection
) -> None:
    fault = storage_fault(psycopg.errors.LockNotAvailable("locked"), link)
    assert fault is not None
    assert fault.where == str(served[0].where)
