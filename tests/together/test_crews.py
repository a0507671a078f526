"""Workers that are killed while they compute homes on a server: all results are there, once."""

import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from tests.faults import crews
from tests.faults.crews import has_ended
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.told_workers import at_work, forget, telling


@pytest.mark.outside
def test_nothing_is_lost_where_a_worker_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(crews, "HOMES", crews.HOMES[:5])
    told = crews.killed_workers(tmp_path, 1, seed=3)
    assert told.whole
    assert told.rounds == 1
    # Two days and four documents of each home; of the studio ten days and those beside them.
    assert told.sent == told.stored == 5 * (2 + 4) + 12 + 4


def test_a_worker_tells_when_it_is_at_a_home(tmp_path: Path) -> None:
    with closing(Database.open(tmp_path)) as database:
        seen = telling(lambda _: at_work(tmp_path))(database)
        assert seen == [os.getpid()]
        assert not forget(tmp_path, os.getpid())
        (tmp_path / "at-work-77").touch()  # as one does that is killed
        assert at_work(tmp_path) == [77]
        assert forget(tmp_path, 77)
    assert at_work(tmp_path) == []


def test_a_process_that_nobody_has_waited_for_has_ended_too() -> None:
    assert not has_ended(os.getpid())
    process = subprocess.Popen([sys.executable, "-c", ""])
    wait_until(lambda: has_ended(process.pid))
    process.wait()
    assert has_ended(process.pid)
