"""What is computed, and whether all of it is: held against a clean computation."""

import subprocess
import sys
import time
from contextlib import closing

from joulebook.storage.database import Database
from joulebook.storage.days import dirty_count
from joulebook.storage.quarter_marks import dirty_quarters
from tests.helpers.service import clean_environment


def run(*arguments: str) -> int:
    """Run ``joulebook`` to its end and return its exit status."""
    command = [sys.executable, "-m", "joulebook", *arguments]
    return subprocess.run(
        command, env=clean_environment(measured=False), stdout=subprocess.DEVNULL, check=False
    ).returncode


def results(database: Database) -> dict[object, bytes]:
    """Return every day's result, and each month of quarter hours that no reading still reaches."""
    with closing(database.connect()) as connection:
        days = {
            day: bytes(result)
            for day, result in connection.execute("SELECT day, result FROM day_results")
        }
        months = {
            (device, start_ms): bytes(data)
            for device, start_ms, data in connection.execute(
                "SELECT device_id, start_ms, data FROM quarters WHERE start_ms < 1793000000000"
            )
        }
    return days | months


def all_computed(database: Database) -> bool:
    """Tell whether every day is computed, and all quarter hours that are over."""
    with closing(database.connect()) as connection:
        today = int(time.time()) // 86_400
        return dirty_count(connection) == 0 and not dirty_quarters(connection, before_day=today)
