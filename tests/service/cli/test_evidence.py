import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.database import Database
from joulebook.storage.sealing import seal
from tests.helpers.analysed_sites import shallow_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS


@pytest.fixture
def house(tmp_path: Path) -> str:
    studio = shallow_studio(tmp_path / "house")
    with closing(studio.database.connect()) as connection:
        seal(connection, START_MS + 40 * DAY_MS)
    studio.database.close()
    return str(tmp_path / "house")


def test_it_writes_the_file_and_says_how_to_check_it(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "evidence.zip"
    assert main(["evidence", str(file), "--site", "studio", "--data", house]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"evidence: {file}, ")
    assert said[1].startswith("chain: 152 links, head ")
    assert said[2] == "readings: all of the battery"
    assert "python check.py" in said[3]
    with zipfile.ZipFile(file) as archive:
        assert {"check.py", "evidence.pdf", "manifest.txt"} <= set(archive.namelist())


def test_readings_that_are_not_those_that_were_sealed_end_it_with_status_4(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(Database(Path(house)).connect()) as connection:
        connection.execute("UPDATE seal_links SET digest = zeroblob(32) WHERE number < 3")
    file = str(tmp_path / "evidence.zip")
    assert main(["evidence", file, "--site", "studio", "--data", house]) == 4
    assert "are not those that were sealed (and 1 more)" in capsys.readouterr().err
    assert Path(file).exists()


def test_a_site_without_links_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = str(tmp_path / "house")
    assert main(["site", "add", "studio", "--timezone", "UTC", "--data", data]) == 0
    assert main(["evidence", str(tmp_path / "a.zip"), "--site", "studio", "--data", data]) == 0
    assert "head none: nothing was sealed yet" in capsys.readouterr().out
