"""One promise for two stores: what takes these fixtures runs on SQLite and on PostgreSQL.

Tests of what only a file has (its pages, its log, its copies) are marked ``on_a_file``.
"""

import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.connections import open_connection
from joulebook.storage.database import Connection, Database, ServerPlace
from joulebook.storage.records import Site
from tests.helpers.databases import studio
from tests.helpers.moved_sites import full_house, shifted
from tests.helpers.postgres import PostgresServer
from tests.service.storage.saved_database import fill


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "store" in metafunc.fixturenames:
        stores = ["file", pytest.param("server", marks=pytest.mark.outside)]
        on_a_file = metafunc.definition.get_closest_marker("on_a_file") is not None
        metafunc.parametrize("store", stores[:1] if on_a_file else stores, indirect=True)


@pytest.fixture
def store(request: pytest.FixtureRequest) -> ServerPlace | None:
    """Where the database is: in the test's directory, or on a server, emptied."""
    if request.param == "file":
        return None
    server: PostgresServer = request.getfixturevalue("postgres")
    # Where rows were deleted, an index still has entries of them: whoever counts begins anew.
    anew = request.node.get_closest_marker("anew") is not None
    return server.place() if anew else server.emptied_place()


@pytest.fixture
def database_and_site(store: ServerPlace | None, tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path, server=store)
    yield database, site
    database.close()


@pytest.fixture
def database(database_and_site: tuple[Database, Site]) -> Database:
    return database_and_site[0]


@pytest.fixture
def site(database_and_site: tuple[Database, Site]) -> Site:
    return database_and_site[1]


@pytest.fixture
def connection(database: Database) -> Iterator[Connection]:
    with closing(database.connect()) as connection:
        yield connection


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """A database of this version's schema with a little of everything, closed."""
    path = fill(tmp_path).path
    with closing(open_connection(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


@pytest.fixture(scope="module")
def careless(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Connection]]:
    """A file for many examples, each with a site of its own: the disk is not what is tested."""
    database = Database.open(tmp_path_factory.mktemp("careless"))
    with closing(database.connect()) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        yield database, connection


@pytest.fixture(scope="session")
def moved_houses(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The house, and a file in which numbers of rows are others: made once, copied for each."""
    folder = tmp_path_factory.mktemp("moved")
    full_house(folder / "house").close()
    shifted(Database.open(folder / "target")).close()
    return folder


@pytest.fixture
def house(moved_houses: Path, tmp_path: Path) -> Iterator[Database]:
    shutil.copytree(moved_houses / "house", tmp_path / "house")
    database = Database(tmp_path / "house")
    yield database
    database.close()


@pytest.fixture
def target(moved_houses: Path, tmp_path: Path) -> Iterator[Database]:
    shutil.copytree(moved_houses / "target", tmp_path / "target")
    database = Database(tmp_path / "target")
    yield database
    database.close()
