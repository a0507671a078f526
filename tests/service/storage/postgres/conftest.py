"""What only a server can do, or fail to do: a database on one, and servers to be hurt."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.connections import ServerConnection, on_server
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.databases import studio
from tests.helpers.postgres import PostgresServer


def connected(database: Database) -> ServerConnection:
    """Return a connection to a server."""
    connection = database.connect()
    assert on_server(connection)
    return connection


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
