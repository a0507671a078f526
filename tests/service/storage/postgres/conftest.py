"""What only a server can do, or fail to do: a database on one, and servers to be hurt."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.connections import ServerConnection, on_server
from joulebook.storage.database import Database
from joulebook.storage.narrowing import Narrowing
from joulebook.storage.records import Site
from tests.helpers.databases import studio
from tests.helpers.postgres import PostgresServer
from tests.helpers.two_tenants import House, two_tenants

#: Sees no site, and no organisation.
NOTHING = Narrowing()


def connected(database: Database) -> ServerConnection:
    """Return a connection to a server."""
    connection = database.connect()
    assert on_server(connection)
    return connection


def only(site: Site) -> Narrowing:
    """Return the narrowing of who sees this site and no other."""
    return Narrowing(frozenset({site.id}))


@pytest.fixture(scope="module")
def own_server() -> Iterator[PostgresServer]:
    """A server that may be hurt, and whose commits wait for the disk."""
    server = PostgresServer(fsync=True)
    server.start()
    yield server
    server.remove()


@pytest.fixture
def served(postgres: PostgresServer, tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    """A database without a row but for the studio's."""
    database, site = studio(tmp_path, server=postgres.emptied_place())
    yield database, site
    database.close()


@pytest.fixture
def link(served: tuple[Database, Site]) -> Iterator[ServerConnection]:
    with closing(connected(served[0])) as connection:
        yield connection


@pytest.fixture
def other(served: tuple[Database, Site]) -> Iterator[ServerConnection]:
    with closing(connected(served[0])) as connection:
        yield connection


@pytest.fixture(scope="module")
def house(postgres: PostgresServer, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """Two tenants and their people. What a test changes it undoes."""
    made = two_tenants(tmp_path_factory.mktemp("house"), postgres.place())
    yield made
    made.database.close()
