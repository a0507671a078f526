from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.evidence.shelf import FOLDER
from joulebook.storage.database import Database
from tests.helpers.databases import NOON_MS, studio, write


@pytest.fixture
def house(tmp_path: Path) -> Path:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0}})
    database.close()
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "studio-20260301T120000Z.zip").write_bytes(b"x")
    (tmp_path / "joulebook.sqlite3.schema-0007").write_bytes(b"x")
    return tmp_path


def test_without_the_name_once_more_nothing_happens(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for confirm in ([], ["--confirm", "annex"]):
        assert main(["site", "delete", "studio", *confirm, "--data", str(house)]) == 2
        assert "nothing was deleted" in capsys.readouterr().err
    assert main(["show", "days", "--site", "studio", "--json", "--data", str(house)]) == 0


def test_it_goes_with_its_evidence_files_and_what_still_holds_it_is_named(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["site", "delete", "studio", "--confirm", "studio", "--data", str(house)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("deleted site studio: ")
    assert said[1] == f"still holds it: {house / 'joulebook.sqlite3.schema-0007'}"
    assert list((house / FOLDER).iterdir()) == []
    with closing(Database(house).connect()) as connection:
        assert connection.execute("SELECT count(*) FROM readings").fetchone() == (0,)
    assert main(["site", "delete", "studio", "--confirm", "studio", "--data", str(house)]) == 2
    assert "there is no site" in capsys.readouterr().err
