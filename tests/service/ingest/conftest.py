"""A database with a studio in it, for what comes in to be written to."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.databases import studio


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = studio(tmp_path)
    yield database, site
    database.close()
