from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.summaries.homes import worker
from joulebook.summaries.homes.worker import COMPARE_EVERY_MS, HomeLines
from tests.helpers.databases import NOON_MS
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.turned_clocks import TurnedClock


def test_it_looks_at_all_and_compares_by_the_hour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, clock, done = Database.open(tmp_path), TurnedClock(NOON_MS), []
    changed = iter([0, 0, 2, 0, 0])

    def update_numbers(*_: object, **__: object) -> int:
        return next(changed)

    monkeypatch.setattr(worker, "update_numbers", update_numbers)
    for name in ("update_peers", "update_told"):
        monkeypatch.setattr(worker, name, lambda *_, name=name, **__: done.append(name))
    homes = HomeLines(database, clock_ms=clock, every_s=3600.0)
    homes.start()
    compared = []
    # After the start; then nothing changed; numbers did, and it is not time; now it is; nothing.
    for number, later_ms in enumerate((0, 0, 0, COMPARE_EVERY_MS, COMPARE_EVERY_MS), start=1):
        clock.now_ms += later_ms
        if number > 1:
            homes.rounds.nudge()
        wait_until(lambda number=number: homes.rounds.runs == number)  # type: ignore[misc]
        compared.append(done.count("update_peers"))
    homes.stop()
    database.close()
    assert compared == [1, 1, 1, 2, 2]
    assert done.count("update_told") == 5
    assert homes.rounds.failing == ()
