"""What the owner said goes out as JSON and comes back by the commands; the page describes it."""

import json
import re
from contextlib import closing
from pathlib import Path
from typing import Any

import msgspec
import pytest

from joulebook.cli import main
from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.said import said_of
from tests.helpers.said_studio import SECRET, said_studio

PAGE = (Path(__file__).parents[3] / "docs" / "data-out.md").read_text(encoding="utf-8")


@pytest.fixture
def house(tmp_path: Path) -> str:
    database, _ = said_studio(tmp_path / "house")
    database.close()
    return str(tmp_path / "house")


@pytest.fixture
def file(house: str, tmp_path: Path) -> Path:
    path = tmp_path / "said.json"
    assert main(["export", str(path), "--site", "studio", "--data", house]) == 0
    return path


def test_it_says_what_is_in_the_file_and_no_secret_is(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "said.JSON"
    assert main(["export", str(file), "--site", "studio", "--data", house]) == 0
    assert capsys.readouterr().out == (
        "facts 4, events 2, photos 2, corrections 2, tariffs 2, deep tests 2, sign-offs 1, "
        "and how alerts are set\n"
    )
    text = file.read_text(encoding="utf-8")
    assert json.loads(text)["form"] == "joulebook-said-1"
    assert SECRET not in text
    assert "kiln-secret" not in text
    assert file.stat().st_mode & 0o077 == 0


def test_readings_and_then_this_make_the_same_site_elsewhere(
    house: str, file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = str(tmp_path / "other")
    readings = str(tmp_path / "readings.csv")
    assert main(["export", readings, "--site", "studio", "--data", house]) == 0
    new = ["site", "add", "studio", "--timezone", "Europe/Lisbon", "--data", other]
    assert main(new) == 0
    assert main(["import", readings, "--site", "studio", "--data", other]) == 0
    capsys.readouterr()
    assert main(["import", str(file), "--site", "studio", "--data", other]) == 0
    assert capsys.readouterr().out == (
        "new: facts 4, events 2, corrections 2, tariffs 2, deep tests 2, sign offs 1, alerts 2, "
        "photos 2\n"
    )
    back = tmp_path / "back.json"
    assert main(["export", str(back), "--site", "studio", "--data", other]) == 0
    assert back.read_bytes() == file.read_bytes()
    capsys.readouterr()
    again = ["import", str(file), "--site", "studio", "--data", other]
    assert main(again) == 0
    assert capsys.readouterr().out == "nothing new\n"
    database = Database.open(Path(other))
    with closing(database.connect()) as connection:
        noted = [one.action for one in audit_log(connection, site="studio")]
    assert noted.count("import what was said") == 1


def test_what_stays_as_it_is_here_is_printed(
    house: str, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads(file.read_bytes())
    document["facts"]["battery_ah"] = 100.0
    file.write_text(json.dumps(document), encoding="utf-8")
    capsys.readouterr()
    command = ["import", str(file), "--site", "studio", "--data", house]
    assert main(command) == 0
    assert capsys.readouterr().out.splitlines() == [
        "nothing new",
        "otherwise here, and left so: battery_ah: 280.0 here, 100.0 there",
    ]
    assert main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["differs"] == ["battery_ah: 280.0 here, 100.0 there"]
    assert set(told["new"].values()) == {0}


def _set(document: dict[str, Any], *path: str | int, value: object) -> None:
    inner: Any = document
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (["form"], "joulebook-said-9", "Invalid enum value 'joulebook-said-9'"),
        (["events", 0, "at_ms"], "noon", r"Expected `int`, got `str` - at `$.events[0].at_ms`"),
        (["facts", "colour"], "red", "this version does not know $.facts.colour"),
        (["events", 1, "photo"], "", "this version does not know $.events[1].photo"),
        (["tariffs", 0, "terms", "currency"], "", "tariff 1: currency:"),
        (["sign_offs", 0, "name"], "Rui", "is not as it was signed"),
        (["events", 0, "title"], "", "the title does not do"),
        (["photos", 1, "jpeg"], "/9j/4AAQ", "a photo is not as it was kept"),
        (["photos", 1, "jpeg"], "x", "Invalid base64 encoded string - at `$.photos[1].jpeg`"),
        (["photos", 0, "event"], 77, "photo 1 is of event 77, which is not in the document"),
    ],
)
def test_a_document_of_which_something_would_be_lost_is_refused(
    house: str,
    file: Path,
    capsys: pytest.CaptureFixture[str],
    path: list[str | int],
    value: object,
    said: str,
) -> None:
    document = json.loads(file.read_bytes())
    _set(document, *path, value=value)
    file.write_text(json.dumps(document), encoding="utf-8")
    database = Database.open(Path(house))
    site = site_named(database, "studio")
    with closing(database.connect()) as connection:
        before = said_of(connection, site)
        assert main(["import", str(file), "--site", "studio", "--data", house]) == 2
        assert said in capsys.readouterr().err
        assert said_of(connection, site) == before


def test_a_file_that_is_no_document_is_refused(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "x.json").write_bytes(b"\xff{")
    assert main(["import", str(tmp_path / "x.json"), "--site", "studio", "--data", house]) == 2
    assert "the document cannot be read" in capsys.readouterr().err


def test_a_document_of_before_there_were_photos_is_read(
    house: str, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads(file.read_bytes())
    del document["photos"]
    file.write_text(json.dumps(document), encoding="utf-8")
    capsys.readouterr()
    assert main(["import", str(file), "--site", "studio", "--data", house]) == 0
    assert capsys.readouterr().out == "nothing new\n"


def test_days_cannot_be_chosen_of_it(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["export", str(tmp_path / "x.json"), "--site", "studio", "--from", "2026-01-01"]
    assert main([*command, "--data", house]) == 2
    assert "what was said has no days to choose from" in capsys.readouterr().err


def test_a_site_of_which_nothing_was_said_goes_out_and_in(tmp_path: Path) -> None:
    database = Database.open(tmp_path / "bare")
    add_site(database, "bare", "UTC")
    file, data = tmp_path / "bare.json", str(tmp_path / "bare")
    assert main(["export", str(file), "--site", "bare", "--data", data]) == 0
    assert main(["import", str(file), "--site", "bare", "--data", data]) == 0
    with closing(database.connect()) as connection:
        assert audit_log(connection, site="bare") == []


def test_the_page_names_everything_that_is_in_the_document(file: Path) -> None:
    def names(value: Any) -> set[str]:
        if isinstance(value, list):
            return set().union(*map(names, value))
        if not isinstance(value, dict):
            return set()
        return set(value) | set().union(*map(names, value.values()))

    document = msgspec.json.decode(file.read_bytes())
    for one in document["tariffs"]:
        one["terms"] = "docs/tariff.md describes them"
    for fact in document["facts"]:
        assert fact in PAGE
    document["facts"] = document["alerts"]["rules"]["gap"]
    del document["alerts"]["rules"]["gap"]
    shown = set(re.findall(r"`(\w+)`", PAGE))
    assert names(document) - shown == set()
