from pathlib import Path

import pytest

from tests.helpers.pages import Studio, empty_studio, measured_studio


@pytest.fixture(scope="session")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio of round numbers. Read it only: all tests of the pages share it."""
    return measured_studio(tmp_path_factory.mktemp("studio"))


@pytest.fixture
def empty(tmp_path: Path) -> Studio:
    """A studio that waits for its first reading."""
    return empty_studio(tmp_path)
