"""Connections are narrowed and widened from use to use, and none is mistaken for another."""

import gc
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import psycopg
import pytest

from joulebook.storage.catalogue import add_site, site_named, sites
from joulebook.storage.database import Connection, Database, StorageUnavailableError, transaction
from joulebook.storage.narrowing import narrowed
from joulebook.storage.postgres import policies
from tests.helpers.postgres import PostgresServer
from tests.service.storage.postgres.conftest import NOTHING, only

pytestmark = pytest.mark.outside


@pytest.fixture
def single(postgres: PostgresServer, tmp_path: Path) -> Iterator[Database]:
    """Two sites behind a pool of one connection: each use follows upon the one before."""
    place = replace(postgres.emptied_place(), connections=3, wait_s=5.0)
    database = Database.open(tmp_path, place)
    for name in ("studio", "barn"):
        add_site(database, name, "Europe/Lisbon")
    yield database
    database.close()


def seen(connection: Connection) -> tuple[int, list[str]]:
    """Return which of the server's processes answers, and the sites that it shows."""
    rows = connection.execute("SELECT pg_backend_pid(), name FROM sites ORDER BY name").fetchall()
    return rows[0][0], [name for _, name in rows]


def seen_anew(database: Database) -> tuple[int, list[str]]:
    with closing(database.connect()) as connection:
        return seen(connection)


def test_a_connection_is_widened_and_narrowed_from_use_to_use(single: Database) -> None:
    studio, barn = (only(site_named(single, name)) for name in ("studio", "barn"))
    process, everything = seen_anew(single)
    assert everything == ["barn", "studio"]
    for _ in range(2):
        with narrowed(studio):
            assert seen_anew(single) == (process, ["studio"])
        with narrowed(barn):
            assert seen_anew(single) == (process, ["barn"])
        assert seen_anew(single) == (process, ["barn", "studio"])


def test_it_stays_narrowed_through_what_fails_and_is_widened_after(single: Database) -> None:
    studio = only(site_named(single, "studio"))
    process, _ = seen_anew(single)
    with narrowed(studio), closing(single.connect()) as connection:
        with pytest.raises(psycopg.errors.UndefinedTable), transaction(connection):
            connection.execute("SELECT * FROM kilns")
        assert seen(connection) == (process, ["studio"])
        with pytest.raises(ArithmeticError), transaction(connection):
            raise ArithmeticError
        assert seen(connection) == (process, ["studio"])
        connection.execute("BEGIN")
        with pytest.raises(psycopg.errors.UndefinedTable):
            connection.execute("SELECT * FROM kilns")
        # The request ends here, in a transaction that has failed.
    assert seen_anew(single) == (process, ["barn", "studio"])


def test_one_that_nobody_gave_back_is_widened_all_the_same(single: Database) -> None:
    with narrowed(only(site_named(single, "studio"))):
        connection = single.connect()
        assert seen(connection)[1] == ["studio"]
    del connection
    gc.collect()
    assert seen_anew(single)[1] == ["barn", "studio"]


def test_one_that_takes_the_place_of_a_broken_one_is_narrowed_too(single: Database) -> None:
    assert single.server is not None
    with narrowed(only(site_named(single, "studio"))), closing(single.connect()) as connection:
        process, _ = seen(connection)
        with psycopg.connect(single.server.url, autocommit=True) as admin:
            admin.execute("SELECT pg_terminate_backend(%s, 5000)", (process,))
        with pytest.raises(StorageUnavailableError):
            seen(connection)
        another, names = seen(connection)
        assert (another != process, names) == (True, ["studio"])


def test_one_that_cannot_be_narrowed_is_not_handed_out(
    single: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        wrong = policies.NARROW.replace("joulebook_pages", "nobody_at_all")
        patch.setattr("joulebook.storage.postgres.pool.NARROW", wrong)
        with narrowed(NOTHING), pytest.raises(psycopg.Error, match="nobody_at_all"):
            single.connect()
    assert seen_anew(single)[1] == ["barn", "studio"]


def test_the_catalogue_is_narrowed_for_a_transaction(single: Database) -> None:
    with narrowed(only(site_named(single, "barn"))):
        assert [site.name for site in sites(single)] == ["barn"]
    assert [site.name for site in sites(single)] == ["barn", "studio"]
    # Both of its connections were narrowed once.
    with narrowed(NOTHING):
        assert sites(single) == []
