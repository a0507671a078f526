import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from joulebook.storage.organisations import organisation_named
from joulebook.storage.people import person_named

KILN = ["--organisation", "Kiln and Sun"]


@pytest.fixture
def data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    assert main(["organisation", "add", "Kiln and Sun", *data]) == 0
    assert capsys.readouterr().out.endswith("added organisation Kiln and Sun\n")
    return data


def number(data: list[str]) -> int:
    with closing(Database(Path(data[1])).connect()) as connection:
        return organisation_named(connection, "Kiln and Sun").id


def noted(data: list[str]) -> list[tuple[str, str | None, str, int | None]]:
    with closing(Database(Path(data[1])).connect()) as connection:
        return [
            (one.action, one.site, one.detail, one.organisation_id) for one in audit_log(connection)
        ]


def roles(data: list[str], name: str) -> tuple[object, object, object]:
    with closing(Database(Path(data[1])).connect()) as connection:
        found = person_named(connection, name)
    return found.everywhere, found.inside, found.at


def test_sites_and_people_are_put_into_one(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["site", "set", "studio", *KILN, *data]) == 0
    assert noted(data)[1] == ("put site into organisation", "studio", "Kiln and Sun", number(data))
    assert main(["site", "add", "shed", "--timezone", "UTC", *KILN, *data]) == 0
    assert noted(data)[0] == ("add site", "shed", "UTC", number(data))
    assert main(["person", "add", "Fin", "--role", "owner", *KILN, *data]) == 0
    assert noted(data)[0][2] == "Fin: owner of all of Kiln and Sun"
    assert roles(data, "Fin") == (None, {number(data): "owner"}, {})
    capsys.readouterr()
    assert main(["organisation", "list", *data]) == 0
    assert capsys.readouterr().out == "Kiln and Sun  2 sites  owner Fin\n"
    assert main(["person", "list", *data]) == 0
    assert capsys.readouterr().out == "Fin  owner of all of Kiln and Sun  invited\n"


def test_a_site_is_taken_out_again(data: list[str]) -> None:
    assert main(["site", "set", "studio", *KILN, *data]) == 0
    assert main(["site", "set", "studio", "--forget", "organisation", *data]) == 0
    assert [site.organisation_id for site in sites(Database(Path(data[1])))] == [None]
    assert noted(data)[1] == ("take site out of organisation", "studio", "", number(data))
    assert main(["site", "set", "studio", "--organisation", "Hay", *data]) == 2


def test_what_somebody_may_do_is_changed_there_and_stays_elsewhere(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["person", "add", "Ana", "--role", "owner", *data]) == 0
    assert main(["person", "add", "Rui", "--role", "viewer", "--site", "studio", *data]) == 0
    capsys.readouterr()
    assert main(["person", "role", "Rui", "--role", "owner", *KILN, *data]) == 0
    assert capsys.readouterr().out == "Rui: owner of all of Kiln and Sun\n"
    assert roles(data, "Rui") == (None, {number(data): "owner"}, {1: "viewer"})
    assert main(["person", "role", "Rui", "--role", "none", "--site", "studio", *data]) == 0
    assert capsys.readouterr().out == "Rui: nothing of studio\n"
    assert noted(data)[0] == ("change person", None, "Rui: nothing of studio", None)
    assert main(["person", "role", "Rui", "--role", "viewer", *data]) == 0
    assert roles(data, "Rui") == ("viewer", {number(data): "owner"}, {})
    assert main(["person", "list", *data]) == 0
    assert "Rui  viewer of every site, owner of all of Kiln and Sun" in capsys.readouterr().out


def test_a_token_reads_all_of_it(data: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["token", "add", "shed", "--scope", "read", *KILN, *data]) == 0
    assert noted(data)[0] == ("make token", None, "shed, scope read", number(data))
    assert main(["token", "add", "shed", *KILN, *data]) == 2
    capsys.readouterr()
    assert main(["token", "list", *data]) == 0
    assert "shed  read  all of Kiln and Sun  not used yet" in capsys.readouterr().out
    assert main(["token", "list", "--json", *data]) == 0
    [told] = json.loads(capsys.readouterr().out)["tokens"]
    assert (told["site"], told["organisation"]) == (None, "Kiln and Sun")


def test_it_is_deleted_and_its_sites_stay(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["site", "set", "studio", *KILN, *data]) == 0
    capsys.readouterr()
    assert main(["organisation", "delete", "kiln and sun", *data]) == 0
    assert capsys.readouterr().out == (
        "deleted organisation Kiln and Sun; sites that belong to none now: 1\n"
    )
    assert noted(data)[0] == ("delete organisation", None, "Kiln and Sun", None)
    assert main(["organisation", "list", *data]) == 0
    assert capsys.readouterr().out == "no organisation\n"
    assert main(["organisation", "delete", "Kiln and Sun", *data]) == 2
