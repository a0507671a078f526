import logging
import threading
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.keeper import Keeper
from joulebook.storage.reading import readings_span
from joulebook.storage.retention import Removed
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import recompute
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.mqtt_inbox import wait_until

DAY_MS = 86_400_000
OLD_MS = NOON_MS - 800 * DAY_MS


def keeper(database: Database, every_s: float = 0.01) -> Keeper:
    return Keeper(database, clock_ms=lambda: NOON_MS, keep_years=1, every_s=every_s)


def test_it_removes_what_is_old_once_it_is_computed(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "pv", {OLD_MS: {"power": 1.0}, NOON_MS: {"power": 2.0}})
        made = keeper(database)
        made.start()
        wait_until(
            lambda: "old readings of site studio wait for the result of 2023-12-22" in caplog.text
        )
        recompute(database, site, clock_ms=lambda: NOON_MS)
        rebuild_quarters(database, site)
        wait_until(lambda: "removed 1 rows of site studio" in caplog.text)
        made.stop()
        span = readings_span(connection, site.id)
    assert span is not None
    assert span.start_ms == NOON_MS


def test_it_goes_on_after_faults_and_bugs(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, _ = studio(tmp_path)
    away = StorageUnavailableError("the disk is full", where="", expected="", next_step="")
    faults: list[Exception] = [away, ValueError("a bug")]
    done = []

    def removed(*_: object, **__: object) -> Removed:
        if faults:
            raise faults.pop(0)
        done.append(True)
        return Removed(0, None)

    monkeypatch.setattr("joulebook.storage.keeper.remove_old", removed)
    made = keeper(database)
    made.start()
    wait_until(lambda: bool(done))
    made.stop()
    assert "old readings are not removed yet: the disk is full" in caplog.text
    assert "ValueError: a bug" in caplog.text


def test_it_ends_at_once_although_it_looks_once_a_day(tmp_path: Path) -> None:
    database, _ = studio(tmp_path)
    made = keeper(database, every_s=86_400.0)
    made.start()
    made.stop()
    assert "keeper" not in {thread.name for thread in threading.enumerate()}
