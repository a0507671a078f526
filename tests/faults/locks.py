"""A database that somebody else holds on to."""

import random
import time
from contextlib import closing
from pathlib import Path

from joulebook.storage.connections import transaction
from tests.faults.computed import run
from tests.faults.house import house_in
from tests.faults.told import Told, counted
from tests.helpers.mqtt_inbox import wait_until

MESSAGES = 400


def locked(folder: Path, hold_s: float) -> Told:
    """Hold the write lock from another process for a while."""
    with house_in(folder) as house:
        publisher = house.publisher()
        publisher.publish(1)
        publisher.wait_for_all()
        with closing(house.database.connect()) as connection, transaction(connection):
            publisher.publish(MESSAGES)
            began_s = time.monotonic()
            wait_until(lambda: time.monotonic() > began_s + hold_s, hold_s + 60)
            ready, _ = house.ready()
            waiting = publisher.published - publisher.acknowledged
        publisher.wait_for_all()
        wait_until(lambda: house.ready()[0] == 200, 60)
        assert house.end() == 0
        return counted(
            f"database locked by another process for {hold_s:g} s",
            range(publisher.published),
            house.numbers(),
            struck=int(waiting == MESSAGES),
            acknowledged=publisher.acknowledged,
            note=f"{waiting} waited with their bridge; /readyz said {ready}",
        )


def backed_up(folder: Path, backups: int, seed: int = 1) -> Told:
    """Make backups while readings come in; each holds what was stored, in order, up to a commit."""
    chance = random.Random(seed)
    (folder / "data").mkdir()
    with house_in(folder / "data") as house:
        publisher = house.publisher()
        for number in range(backups):
            publisher.publish(chance.randrange(MESSAGES, 4 * MESSAGES))
            file = folder / f"{number}.sqlite3"
            assert run("backup", str(file), f"--data={house.data}") == 0
        publisher.wait_for_all()
        assert house.end() == 0
        return counted(
            "a backup while readings come in",
            range(publisher.published),
            house.numbers(),
            rounds=backups,
            acknowledged=publisher.acknowledged,
            note=f"{backups} backups made, each looked at from end to end",
        )
