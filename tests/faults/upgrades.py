"""From one schema to the next: killed on the way, and an old program that meets a newer file."""

import hashlib
import random
import sqlite3
import time
from contextlib import closing
from pathlib import Path

from joulebook.storage.database import FILE_NAME, Database
from joulebook.storage.reading import read_device
from tests.faults.computed import all_computed, run
from tests.faults.house import ALWAYS
from tests.faults.told import Told, counted
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.told_processes import ToldProcess
from tests.service.storage.saved_database import FIRST_MS, SAVED, load

ROWS = 500


def old_house(folder: Path) -> Path:
    """Return a data directory of the first schema, with numbers in the rows of its battery."""
    folder.mkdir()
    path = load(folder, SAVED[0])
    with closing(sqlite3.connect(path)) as connection, connection:
        device, slot = connection.execute(
            """
            SELECT device_id, slot
            FROM series
            JOIN devices ON devices.id = device_id
            WHERE name = 'battery' AND quantity = 'soc'
            """
        ).fetchone()
        connection.execute("DELETE FROM readings WHERE device_id = ?", (device,))
        connection.executemany(
            f"INSERT INTO readings (device_id, at_ms, v{slot}) VALUES (?, ?, ?)",
            [(device, FIRST_MS + 1000 * number, float(number)) for number in range(ROWS)],
        )
    return path.parent


def numbers_in(data: Path) -> list[int]:
    """Return the numbers that a house has after it was upgraded."""
    database = Database.open(data)
    with closing(database.connect()) as connection:
        (site_id,) = connection.execute("SELECT id FROM sites WHERE name = 'studio'").fetchone()
        stored = read_device(connection, site_id, "battery", ALWAYS)
    database.close()
    return [int(number) for number in stored.values["soc"]]


def killed_upgrades(folder: Path, rounds: int, seed: int = 1) -> Told:
    """Kill the service while it brings an old file to its own schema, and start it again."""
    chance = random.Random(seed)
    sent, stored, struck, copies = set[int](), list[int](), 0, 0
    for turn in range(rounds):
        data = old_house(folder / str(turn))
        arguments = ("serve", f"--data={data}", "--port=0", "--mqtt-port=0")
        service = ToldProcess("upgrade", *arguments)
        service.wait_for(1, 60)
        time.sleep(chance.uniform(0, 0.15))
        service.kill()
        struck += service.inside
        again = ToldProcess("none", *arguments)
        again.wait_until_open()
        wait_until(lambda where=data: all_computed(Database(where)), 90)  # type: ignore[misc]
        assert again.end() == 0
        assert run("verify", f"--data={data}") == 0
        copies += (data / f"{FILE_NAME}.schema-0001").exists()
        sent |= {turn * ROWS + number for number in range(ROWS)}
        stored += [turn * ROWS + number for number in numbers_in(data)]
    return counted(
        "kill -9, upgrade from the first schema",
        sent,
        stored,
        rounds=rounds,
        struck=struck,
        note=f"copies of the old schema beside it: {copies} of {rounds}",
    )


def downgraded(folder: Path) -> Told:
    """Let this version meet a file of a later one: it says so and changes nothing."""
    data = old_house(folder / "data")
    sent = numbers_in(data)  # upgraded by that
    with closing(sqlite3.connect(data / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    before = hashlib.sha256((data / FILE_NAME).read_bytes()).hexdigest()
    status = ToldProcess("none", "serve", f"--data={data}", "--port=0", "--mqtt-port=0").wait()
    refused = [run(command, f"--data={data}") for command in ("verify",)]
    after = hashlib.sha256((data / FILE_NAME).read_bytes()).hexdigest()
    with closing(sqlite3.connect(data / FILE_NAME)) as connection, connection:
        newest = Database.open(folder / "empty")
        with closing(newest.connect()) as other:
            known = other.execute("SELECT version_num FROM alembic_version").fetchone()
        newest.close()
        connection.execute("UPDATE alembic_version SET version_num = ?", known)
    return counted(
        "a file of a later version",
        sent,
        numbers_in(data),
        struck=int([status, *refused] == [4, 4]),
        note=f"exit status {status}; the file is {'unchanged' if before == after else 'changed'}",
    )
