"""What many tests share: the demonstration site and a database server, made once a worker."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.cli import main
from tests.helpers.postgres import PostgresServer


@pytest.fixture(scope="session")
def demo_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data directory of the whole demonstration site, as ``joulebook demo`` makes it."""
    data_dir = tmp_path_factory.mktemp("demo")
    assert main(["demo", "--data", str(data_dir), "--no-serve"]) == 0
    return data_dir


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A server for the whole run of a worker; each test takes a database of its own."""
    server = PostgresServer()
    server.start()
    yield server
    server.remove()
