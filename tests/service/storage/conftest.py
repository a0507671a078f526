from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from sqlite3 import Connection

import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.databases import studio


@pytest.fixture
def database_and_site(tmp_path: Path) -> tuple[Database, Site]:
    return studio(tmp_path)


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
