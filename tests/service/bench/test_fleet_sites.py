"""Simulated homes send what is counted, the same in every run."""

import json
from pathlib import Path

from joulebook.bench.fleet_sites import FIRST_MS, Hours, Street, add_homes
from joulebook.storage.database import Database

HOURS = Hours(instants=4, step_s=150, variants=2)


def test_messages_hold_as_many_readings_as_are_counted(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    homes = add_homes(database, 3)
    street = Street(HOURS)
    sent = list(street.messages(homes))
    assert len(sent) == HOURS.instants
    packs = [json.loads(message.payload) for messages in sent for message in messages]
    assert sum(map(len, packs)) == street.readings(3)
    # The third home is a copy of the first.
    assert street.readings(3) == street.readings(2) + street.readings(1)
    # 20 quantities at four instants, but for the rows that are lost: one in a hundred.
    assert 0.9 * 3 * 80 < street.readings(3) <= 3 * 80
    database.close()


def test_a_message_names_its_home_and_lies_within_the_hours(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    homes = add_homes(database, 2)
    for number, messages in enumerate(Street(HOURS).messages(homes)):
        for message in messages:
            at_ms = json.loads(message.payload)[0]["bt"] * 1000
            since_ms = at_ms - FIRST_MS - number * HOURS.step_s * 1000
            assert 0 <= since_ms < 10_000
            assert message.topic.startswith(f"joulebook/v1/{message.site}/")
            assert at_ms < HOURS.end_ms
    assert [home.name for home in homes] == ["home-00001", "home-00002"]
    database.close()


def test_the_same_homes_send_the_same_in_every_run(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    homes = add_homes(database, 2)
    assert list(Street(HOURS).messages(homes)) == list(Street(HOURS).messages(homes))
    database.close()
