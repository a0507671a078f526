import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.alerts import open_episode
from joulebook.storage.connections import transaction
from tests.helpers.databases import NOON_MS, studio, write


@pytest.fixture
def house(tmp_path: Path) -> str:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0}})
        with transaction(connection):
            for rule in ("gap", "kiln"):
                open_episode(
                    connection, site.id, rule, "", at_ms=NOON_MS, value=20.0, sentence="20 % gone"
                )
    database.close()
    return str(tmp_path)


def test_alerts_are_listed_for_people_and_programs(
    house: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["alert", "list", "--site", "studio", "--data", house]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "2026-03-01T12:00+00:00  open  kiln  20 % gone",
        "2026-03-01T12:00+00:00  open  gap  20 % gone",
    ]
    assert main(["alert", "list", "--site", "studio", "--json", "--data", house]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["open"] == 2
    kiln, gap = document["alerts"]
    assert (kiln["title"], kiln["unit"], gap["unit"]) == ("kiln", None, "%")


def test_a_look_prints_what_each_rule_sees(house: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alert", "look", "--site", "studio", "--data", house]) == 0
    said = capsys.readouterr().out
    assert "bridge-silent: " in said
    assert "hot-battery battery: not known" in said


def test_a_site_without_anything_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = str(tmp_path / "house")
    assert main(["site", "add", "studio", "--timezone", "UTC", "--data", data]) == 0
    capsys.readouterr()
    assert main(["alert", "list", "--site", "studio", "--data", data]) == 0
    assert main(["alert", "look", "--site", "studio", "--data", data]) == 0
    assert capsys.readouterr().out.splitlines() == ["no alerts", "nothing was ever read"]


def test_the_letter_is_printed(house: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["letter", "--site", "studio", "--data", house]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("studio: the week to ")
    assert "Will it hold until the warranty ends?" in said
