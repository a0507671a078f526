"""Evidence files from a page: in a process of its own, one at a time, fetched and deleted."""

import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import UnavailableError
from joulebook.evidence import worker
from joulebook.evidence.shelf import FOLDER, MOST_FILES, EvidenceShelf
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, studio, write


@pytest.fixture
def house(tmp_path: Path) -> tuple[Database, Site]:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0}})
    return database, site


def shelf_of(database: Database) -> EvidenceShelf:
    return EvidenceShelf(database, max_gap_s=300.0)


def test_a_file_is_made_in_another_process_and_can_be_fetched_and_deleted(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    shelf = shelf_of(database)
    assert shelf.files(site) == []
    assert not shelf.is_making(site)
    shelf.wait(0)
    shelf.start(site, "a4", now_ms=NOON_MS)
    with pytest.raises(UnavailableError, match="is being made"):
        shelf.start(site, "a4", now_ms=NOON_MS + 1000)
    shelf.wait(60)
    assert shelf.failure(site) is None
    [file] = shelf.files(site)
    assert (file.name, file.made_ms) == ("studio-20260301T120000Z.zip", NOON_MS)
    path = shelf.path_of(site, file.name)
    assert path is not None
    assert zipfile.is_zipfile(path)
    assert path.stat().st_size == file.length
    assert shelf.delete(site, file.name)
    assert not shelf.delete(site, file.name)
    assert shelf.path_of(site, file.name) is None


def test_a_file_that_cannot_be_made_says_why(house: tuple[Database, Site]) -> None:
    database, site = house
    shelf = shelf_of(database)
    (database.data_dir / FOLDER).mkdir()
    (database.data_dir / FOLDER / "studio-20260301T120000Z.zip").write_text("mine")
    shelf.start(site, "letter", now_ms=NOON_MS)
    shelf.wait(60)
    assert shelf.failure(site) == "there is a file of that name already"
    shelf.start(site, "letter", now_ms=NOON_MS + 1000)
    assert shelf.failure(site) is None
    shelf.wait(60)
    assert len(shelf.files(site)) == 2


def test_a_process_that_says_nothing_is_told_by_its_status(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = house
    monkeypatch.setattr("sys.executable", "/bin/false")
    shelf = shelf_of(database)
    shelf.start(site, "a4", now_ms=NOON_MS)
    shelf.wait(60)
    assert shelf.failure(site) == "status 1"


def test_only_so_many_are_kept_and_only_those_of_the_site_are_its(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    folder = database.data_dir / FOLDER
    folder.mkdir()
    for second in range(MOST_FILES):
        (folder / f"studio-20260301T1200{second:02d}Z.zip").write_bytes(b"x")
    for other in ("studio-2-20260301T120000Z.zip", "annex-20260301T120000Z.zip", "notes.zip"):
        (folder / other).write_bytes(b"x")
    shelf = shelf_of(database)
    assert len(shelf.files(site)) == MOST_FILES
    assert shelf.path_of(site, "../joulebook.sqlite3") is None
    assert shelf.path_of(site, "annex-20260301T120000Z.zip") is None
    with pytest.raises(UnavailableError, match="are kept"):
        shelf.start(site, "a4", now_ms=NOON_MS)


def test_the_worker_returns_the_errors_status(
    house: tuple[Database, Site], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database, _ = house
    file = tmp_path / "evidence.zip"
    assert worker.main(database.data_dir, "studio", file, "a4", 300.0) == 0
    assert worker.main(database.data_dir, "studio", file, "a4", 300.0) == 4
    assert "a file of that name" in capsys.readouterr().err
