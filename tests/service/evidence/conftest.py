import hashlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from joulebook.evidence import check
from tests.helpers.analysed_sites import long_studio, shallow_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.evidence_files import Unpacked, made_evidence, signed
from tests.helpers.pages import Studio

#: When the files are made: at the end of either record. [ms, UTC epoch]
LONG_MS = START_MS + 370 * DAY_MS
SHALLOW_MS = START_MS + 40 * DAY_MS


@pytest.fixture(scope="module", autouse=True)
def read_once() -> Iterator[None]:
    """Let the checker in this process read each long table once: that is most of its time."""
    tables: dict[str, Any] = {}
    read = sys.modules["check_numbers"].columns

    def once(path: Path) -> Any:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        if digest not in tables:
            tables[digest] = read(path)
        return tables[digest]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(check, "columns", once)
        yield


@pytest.fixture(scope="session")
def long(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A year in which 2 % were lost, with an event and a sign-off. Read it only."""
    return signed(long_studio(tmp_path_factory.mktemp("long")), 370)


@pytest.fixture(scope="session")
def whole(long: Studio, tmp_path_factory: pytest.TempPathFactory) -> Unpacked:
    """Its evidence file. Read it only."""
    return made_evidence(long, tmp_path_factory.mktemp("whole") / "file", now_ms=LONG_MS)


@pytest.fixture(scope="session")
def shallow(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Forty days in which the battery never gets low. Read it only."""
    return signed(shallow_studio(tmp_path_factory.mktemp("shallow")), 40)


@pytest.fixture
def copy(whole: Unpacked, tmp_path: Path) -> Unpacked:
    """A copy of the year's file to be tampered with."""
    folder = tmp_path / "copy"
    folder.mkdir()
    for file in whole.folder.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    return Unpacked(whole.file, folder, whole.made)
