import json
import re
import shlex
import shutil
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.cli import main
from joulebook.evidence.shelf import FOLDER
from joulebook.storage import moving
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import Database
from joulebook.storage.moving_comparing import compare
from joulebook.storage.organisations import organisation_named
from tests.helpers.moved_sites import full_house
from tests.helpers.postgres import PostgresServer

ROOT = Path(__file__).parents[3]
FILE = "studio-20260301T120000Z.zip"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    full_house(folder).close()
    return folder


@pytest.fixture
def house(made: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "house"
    (folder / FOLDER).mkdir(parents=True)
    (folder / "joulebook.sqlite3").write_bytes((made / "joulebook.sqlite3").read_bytes())
    (folder / FOLDER / FILE).write_bytes(b"evidence")
    return folder


@pytest.fixture
def there(tmp_path: Path) -> Path:
    return tmp_path / "there"


def names(data_dir: Path) -> list[str]:
    database = Database(data_dir)
    found = [site.name for site in sites(database)]
    database.close()
    return found


def test_a_site_is_copied_compared_and_told(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["move", "studio", "--data", str(house), "--to", str(there)]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("studio: copied, ")
    assert told[0].endswith(" pieces compared, all the same")
    assert told[1].startswith("  readings 453, day_results ")
    assert told[2:] == [
        "  Ana was owner here: give rights there with `joulebook person`",
        "  Rui was viewer here: give rights there with `joulebook person`",
        "  2 messages wait to be told from here; they are not told from there",
    ]
    assert names(there) == names(house) == ["studio"]
    assert (there / FOLDER / FILE).read_bytes() == b"evidence"
    assert main(["move", "studio", "--data", str(house), "--to", str(there)]) == 0
    assert "studio: was there already; " in capsys.readouterr().out
    assert main(["verify", "--data", str(there)]) == 0


def test_the_source_goes_only_with_its_name_once_more(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["move", "studio", "--data", str(house), "--to", str(there), "--delete-source"]
    for confirm in ([], ["--confirm", "annex"]):
        assert main([*command, *confirm]) == 2
        assert "nothing was moved" in capsys.readouterr().err
    assert names(there) == []
    assert main([*command, "--confirm", "studio"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("  deleted from the source: ")
    assert (names(house), names(there)) == ([], ["studio"])
    assert list((house / FOLDER).iterdir()) == []
    assert (there / FOLDER / FILE).read_bytes() == b"evidence"


def test_all_sites_go_and_one_that_is_there_is_named(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database, target = Database(house), Database.open(there)
    for name in ("annex", "barn"):
        add_site(database, name, "UTC")
        add_site(target, name, "Europe/Lisbon")
    add_site(database, "hut", "UTC")
    database.close()
    target.close()
    command = ["move", "--every-site", "--data", str(house), "--to", str(there), "--json"]
    assert main(command) == 2
    told = capsys.readouterr()
    document = json.loads(told.out)
    assert [each["site"] for each in document["sites"]] == ["hut", "studio"]
    studio = document["sites"][1]
    assert studio["readings"] == 453
    assert studio["equal"] is True
    assert studio["roles"] == [
        {"person": "Ana", "role": "owner"},
        {"person": "Rui", "role": "viewer"},
    ]
    assert "stamp" not in studio
    assert len(document["refused"]) == 2
    assert "not moved: the target has a site 'barn' already" in told.err
    assert "the target has a site 'annex' already" in told.err


def test_one_that_is_there_is_refused_by_name(house: Path, there: Path) -> None:
    target = Database.open(there)
    add_site(target, "studio", "UTC")
    target.close()
    assert main(["move", "studio", "--data", str(house), "--to", str(there)]) == 2


def test_differences_are_named_one_by_one(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def changed(*given: Any) -> None:
        with closing(Database(there).connect()) as connection:
            connection.execute("DELETE FROM day_results")
        compare(*given)

    monkeypatch.setattr(moving, "compare", changed)
    assert main(["move", "studio", "--data", str(house), "--to", str(there)]) == 4
    told = capsys.readouterr().err
    assert "differs: day_results, row 1 (" in told
    assert "the source untouched" in told
    assert names(there) == []
    assert main(["move", "studio", "--give-up", "--data", str(house), "--to", str(there)]) == 0
    assert "rows of an unfinished move deleted" in capsys.readouterr().out


def test_an_organisation_of_the_target_looks_after_it_only_if_named(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["move", "studio", "--data", str(house), "--to", str(there)]
    kiln = ["--organisation", "Kiln and Sun"]
    assert main([*command, *kiln]) == 2
    assert "there is no organisation 'Kiln and Sun'" in capsys.readouterr().err
    assert names(there) == []
    assert main(["organisation", "add", "Kiln and Sun", "--data", str(there)]) == 0
    assert main([*command, *kiln]) == 0
    database = Database(there)
    [site] = sites(database)
    with closing(database.connect()) as connection:
        assert site.organisation_id == organisation_named(connection, "Kiln and Sun").id


def test_some_site_must_be_named(
    house: Path, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["move", "--data", str(house), "--to", str(there)]) == 2
    assert "which sites?" in capsys.readouterr().err


def test_another_evidence_file_of_the_same_name_stays(house: Path, there: Path) -> None:
    (there / FOLDER).mkdir(parents=True)
    (there / FOLDER / FILE).write_bytes(b"another")
    command = ["move", "studio", "--data", str(house), "--to", str(there)]
    assert main([*command, "--delete-source", "--confirm", "studio"]) == 4
    assert (there / FOLDER / FILE).read_bytes() == b"another"
    assert names(house) == ["studio"]


def test_the_page_shows_what_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(ROOT / "docs" / "examples" / "history.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    page = (ROOT / "docs" / "operating" / "moving.md").read_text(encoding="utf-8")
    [session] = re.findall(r"^```console\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    for step in session.split("$ joulebook ")[1:]:
        command, _, expected = step.partition("\n")
        assert main(shlex.split(command)) == 0
        pattern = re.escape(expected).replace(re.escape("..."), ".+")
        assert re.fullmatch(pattern, capsys.readouterr().out)


@pytest.mark.outside
def test_to_a_server_and_back_whatever_the_environment_names(
    house: Path,
    there: Path,
    tmp_path: Path,
    postgres: PostgresServer,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    url = postgres.place().url
    # It would be both sides' database.
    monkeypatch.setenv("JOULEBOOK_DATABASE", url)
    command = ["move", "studio", "--same-person", "Ana"]
    sides = ["--data", str(house), "--to", str(there), "--to-database", url]
    assert main([*command, *sides]) == 2
    assert "there is nobody called 'Ana'" in capsys.readouterr().err  # at the target
    monkeypatch.delenv("JOULEBOOK_DATABASE")
    (there / "joulebook.toml").write_text(f'database = "{url}"\n', encoding="utf-8")
    assert main(["person", "add", "Ana", "--role", "viewer", "--data", str(there)]) == 0
    assert main([*command, "--data", str(house), "--to", str(there)]) == 0
    back = ["--data", str(there), "--to", str(tmp_path / "home")]
    gone = ["--delete-source", "--confirm", "studio"]
    assert main(["move", "--every-site", *gone, *back]) == 0
    assert names(tmp_path / "home") == ["studio"]
    assert "  deleted from the source: " in capsys.readouterr().out
    assert main(["move", "studio", *back]) == 2  # it is not there any more
    assert main(["site", "add", "studio", "--timezone", "UTC", "--data", str(there)]) == 0
    capsys.readouterr()
    assert main(["move", "studio", "--data", str(there), "--to", str(there)]) == 2
    assert "both sides are one database" in capsys.readouterr().err
