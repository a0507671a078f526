"""``kill -9`` while a backup is made: its name stands for a whole one, or for nothing."""

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from joulebook.storage.database import Connection, Database
from joulebook.storage.new_files import UNFINISHED
from joulebook.storage.records import Site
from joulebook.storage.verify import verify_file
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file

ROUNDS = 20
ROWS = 60_000

#: Backs up once and tells when it begins; it is killed somewhere after that.
BACK_UP = """
import sys
from pathlib import Path
from joulebook.storage.backup import back_up
print("begins", flush=True)
back_up(Path(sys.argv[1]), Path(sys.argv[2]), result_fault=lambda _method, _result: None)
print("done", flush=True)
"""


def start(data_dir: Path, file: Path) -> "subprocess.Popen[str]":
    """Start a backup, and return once it begins."""
    process = subprocess.Popen(
        [sys.executable, "-c", BACK_UP, str(data_dir), str(file)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "begins\n"
    return process


def test_twenty_kills_leave_whole_backups_or_none(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    values = {NOON_MS + at * 1000: {"power": at / 7, "soc": at / ROWS} for at in range(ROWS)}
    write(connection, site, "battery", values)
    process = start(tmp_path, tmp_path / "whole.sqlite3")
    began_s = time.monotonic()
    assert process.communicate(timeout=60)[0] == "done\n"
    took_s = time.monotonic() - began_s
    chance = random.Random(4)
    for turn in range(ROUNDS):
        process = start(tmp_path, tmp_path / f"{turn}.sqlite3")
        # The kill comes anywhere from before the first byte to after the last.
        time.sleep(chance.uniform(0, took_s))
        process.kill()
        output, _ = process.communicate(timeout=60)
        assert output == "" or (tmp_path / f"{turn}.sqlite3").exists()
    whole = sorted(tmp_path.glob("[0-9]*.sqlite3"))
    for file in whole:
        findings = verify_file(file, result_fault=lambda _method, _result: None)
        assert findings.damage == []
        assert findings.checked["readings"] == 2 * ROWS
    assert len(whole) < ROUNDS  # or the kills came too late to try anything
    assert list(tmp_path.glob(f"*{UNFINISHED}"))
    assert verify_file(database.path, result_fault=lambda _method, _result: None).damage == []
