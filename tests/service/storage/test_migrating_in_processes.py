"""``kill -9`` while a database is migrated: it has the old schema or the new one, and is whole."""

import random
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np

from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.series import series_of
from tests.service.storage.saved_database import FIRST_MS, SAVED, load

ROUNDS = 15

OPEN = """
import sys
from pathlib import Path
from joulebook.storage.database import Database
print("begins", flush=True)
Database.open(Path(sys.argv[1])).close()
print("done", flush=True)
"""


def start(data_dir: Path) -> "subprocess.Popen[str]":
    """Open a database in a process of its own, and return once it begins."""
    process = subprocess.Popen(
        [sys.executable, "-c", OPEN, str(data_dir)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "begins\n"
    return process


def old_house(folder: Path) -> Path:
    """Return a data directory of the first schema."""
    folder.mkdir()
    return load(folder, SAVED[0]).parent


def test_fifteen_kills_leave_the_old_schema_or_the_new_with_every_reading(tmp_path: Path) -> None:
    process = start(old_house(tmp_path / "whole"))
    began_s = time.monotonic()
    assert process.communicate(timeout=60)[0] == "done\n"
    took_s = time.monotonic() - began_s
    chance = random.Random(5)
    for turn in range(ROUNDS):
        data_dir = old_house(tmp_path / str(turn))
        process = start(data_dir)
        # The kill comes anywhere from before the first statement to after the last.
        time.sleep(chance.uniform(0, took_s))
        process.kill()
        process.communicate(timeout=60)
        database = Database.open(data_dir)
        with closing(database.connect()) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            site_id = connection.execute("SELECT id FROM sites WHERE name = 'studio'").fetchone()[0]
            assert len(series_of(connection, site_id)) == 4
            span = Span(FIRST_MS, FIRST_MS + 60_000)
            battery = read_device(connection, site_id, "battery", span)
        database.close()
        np.testing.assert_array_equal(battery.values["power"], [812.5, -0.25, np.nan])
