"""What many tests share: the demonstration site, built once a run."""

from pathlib import Path

import pytest

from joulebook.cli import main


@pytest.fixture(scope="session")
def demo_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data directory of the whole demonstration site, as ``joulebook demo`` makes it."""
    data_dir = tmp_path_factory.mktemp("demo")
    assert main(["demo", "--data", str(data_dir), "--no-serve"]) == 0
    return data_dir
