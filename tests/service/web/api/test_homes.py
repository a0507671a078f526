from contextlib import closing
from pathlib import Path

from joulebook.storage.database import Database
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told
from tests.helpers.databases import write
from tests.helpers.pages import client_of
from tests.helpers.told_homes import NOON_MS, entered_home, keep_record, record


def test_homes_are_told_with_reasons_numbers_and_peers(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    kiln, _wheel = (entered_home(database, name) for name in ("kiln", "wheel"))
    with closing(database.connect()) as connection:
        write(connection, kiln, "battery", {NOON_MS: {"power": 1.0}})
        keep_record(connection, kiln, record(None))
        update_numbers(database, connection, now_ms=NOON_MS, go_on=lambda: True)
        update_peers(connection, go_on=lambda: True)
        update_told(connection, now_ms=NOON_MS, go_on=lambda: True)
    entered_home(database, "shed")
    client = client_of(database, now_ms=NOON_MS)
    found = client.get("/api/v1/homes").json()
    assert [each["name"] for each in found["homes"]] == ["wheel", "kiln", "shed"]
    assert (found["page"], found["pages"], found["found"], found["all"]) == (1, 1, 3, 3)
    assert found["states"] == {"now": 1, "ahead": 0, "lacking": 1, "fine": 0, "new": 1}
    assert found["reasons"] == {"silent": 1, "unproven": 2}
    wheel, told, shed = found["homes"]
    assert wheel["reasons"][0] == {
        "code": "silent",
        "sentence": "Nothing was ever heard of it.",
        "since_ms": None,
        "until": None,
        "months": None,
        "missing": [],
    }
    # What is not given is null, with the reason beside it.
    assert told["numbers"]["capacity"] == {
        "value": None,
        "low": None,
        "high": None,
        "reason": "never low",
    }
    assert told["numbers"]["fade"]["value"] == 0.03
    assert told["peers"]["capacity"]["reason"] == "the number itself is not given"
    assert told["numbers"]["outlook"]["ends"] == "2034-03-01"
    assert (told["heard_ms"], told["made_ms"]) == (NOON_MS, NOON_MS)
    assert (shed["state"], shed["numbers"], shed["peers"]) == ("new", None, None)
    further = client.get("/api/v1/homes?page=2&show=now&q=wh").json()
    assert (further["homes"], further["found"], further["pages"]) == ([], 1, 1)
    assert client.get("/api/v1/homes?show=x").status_code == 422
    database.close()
