import hashlib
import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.database import Database
from joulebook.storage.sign_offs import add_sign_off
from tests.helpers.databases import NOON_MS, studio

CONTENT = {
    "checks": {
        "checks": [
            {"name": "heard", "device": "battery", "verdict": "good", "sentence": "5 min ago"},
            {"name": "legs", "device": None, "verdict": "unclear", "sentence": "no leg is known"},
        ]
    }
}


@pytest.fixture
def house(tmp_path: Path) -> list[str]:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        add_sign_off(
            *(connection, site, CONTENT),
            at_ms=NOON_MS,
            who="ana",
            name="Ana Moura",
            role="installer",
        )
    database.close()
    return ["--site", "studio", "--data", str(tmp_path)]


def test_they_are_listed(house: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sign-off", "list", *house]) == 0
    assert capsys.readouterr().out == "1  2026-03-01 12:00  Ana Moura, installer  whole\n"
    assert main(["sign-off", "list", "--json", *house]) == 0
    (listed,) = json.loads(capsys.readouterr().out)["sign_offs"]
    assert (listed["id"], listed["at_ms"], listed["whole"]) == (1, NOON_MS, True)


def test_one_is_shown_check_by_check(house: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sign-off", "show", "1", *house]) == 0
    first, good, unclear, sha256 = capsys.readouterr().out.splitlines()
    assert first == "signed 2026-03-01 12:00 by Ana Moura, installer"
    assert good == "good    battery heard: 5 min ago"
    assert unclear == "unclear site legs: no leg is known"
    assert sha256.endswith(", whole")


def test_its_document_can_be_hashed_by_anybody(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    main(["sign-off", "list", "--json", *house])
    (listed,) = json.loads(capsys.readouterr().out)["sign_offs"]
    assert main(["sign-off", "show", "1", "--json", *house]) == 0
    document = capsys.readouterr().out
    assert hashlib.sha256(document.encode()).hexdigest() == listed["sha256"]
    assert json.loads(document)["signed"]["name"] == "Ana Moura"


def test_one_that_was_tampered_with_says_so(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    database = Database.open(Path(house[-1]))
    with closing(database.connect()) as connection:
        connection.execute("DROP TRIGGER sign_offs_stay_as_they_are")
        connection.execute("UPDATE sign_offs SET document = replace(document, 'good', 'bad')")
    database.close()
    assert main(["sign-off", "list", *house]) == 0
    assert "not as it was signed" in capsys.readouterr().out


def test_none_is_said_and_a_number_that_is_not_there_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database, _ = studio(tmp_path)
    database.close()
    house = ["--site", "studio", "--data", str(tmp_path)]
    assert main(["sign-off", "list", *house]) == 0
    assert capsys.readouterr().out == "no sign-off\n"
    assert main(["sign-off", "show", "3", *house]) == 2
    assert "site studio has no sign-off 3" in capsys.readouterr().err
