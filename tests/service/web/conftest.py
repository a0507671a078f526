from pathlib import Path

import pytest

from tests.helpers.analysed_sites import long_studio, shallow_studio, short_studio
from tests.helpers.pages import Studio, empty_studio, measured_studio


@pytest.fixture(scope="session")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio of round numbers. Read it only: all tests of the pages share it."""
    return measured_studio(tmp_path_factory.mktemp("studio"))


@pytest.fixture
def empty(tmp_path: Path) -> Studio:
    """A studio that waits for its first reading."""
    return empty_studio(tmp_path)


@pytest.fixture(scope="session")
def short(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Fifty analysed days with two events. Read it only."""
    return short_studio(tmp_path_factory.mktemp("short"))


@pytest.fixture(scope="session")
def long(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """More than an analysed year, with a warranty's terms. Read it only."""
    return long_studio(tmp_path_factory.mktemp("long"))


@pytest.fixture(scope="session")
def shallow(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A battery that never gets low, so that its capacity is refused. Read it only."""
    return shallow_studio(tmp_path_factory.mktemp("shallow"))
