"""The thread that has records analysed, in processes of their own."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.storage.database import Database
from joulebook.storage.days import mark_days
from joulebook.storage.records import Site
from joulebook.summaries.analyst import Analyst
from joulebook.summaries.records_due import FRESH_S
from joulebook.summaries.site_records import stored_record
from tests.helpers.cycled_records import cycled_site
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.stored_plants import FIRST
from tests.helpers.turned_clocks import TurnedClock

#: 2027-01-15T08:00:00Z. [ms, UTC epoch]
NOW_MS = 1_800_000_000_000


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = cycled_site(tmp_path, 10)
    yield database, site
    database.close()


def test_it_analyses_what_is_behind_and_old(home: tuple[Database, Site]) -> None:
    database, site = home
    clock = TurnedClock(NOW_MS)
    analyst = Analyst(database, clock_ms=clock, every_s=3600.0)
    analyst.start()
    wait_until(lambda: analyst.counts().rounds == 1)
    assert analyst.counts().records_analysed == 1
    assert analyst.counts().alive
    with closing(database.connect()) as connection:
        stored = stored_record(connection, site)
        assert stored is not None
        mark_days(connection, site.id, [FIRST])
    clock.now_ms = stored.computed_ms + 1000
    analyst.nudge()
    wait_until(lambda: analyst.counts().rounds == 2)
    assert analyst.counts().records_analysed == 1  # new readings can wait
    clock.now_ms = stored.computed_ms + round(FRESH_S * 1000)
    analyst.nudge()
    wait_until(lambda: analyst.counts().rounds == 3)
    assert analyst.counts().records_analysed == 2
    assert analyst.counts().failing == ()
    analyst.stop()
    assert not analyst.counts().alive


class Started(subprocess.Popen[bytes]):
    """Runs what a test wants instead of the analysis."""

    program = ""

    def __init__(self, _command: list[str], **more: Any) -> None:
        super().__init__([sys.executable, "-c", self.program], **more)


@pytest.mark.parametrize(
    ("status", "said"),
    [
        (1, "site studio ended with status 1"),
        # What the process itself ends with where the disk is full or the database locked.
        (3, "site studio could not use the database; it is tried again"),
    ],
)
def test_an_analysis_that_fails_is_told(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch, status: int, said: str
) -> None:
    database, _ = home
    monkeypatch.setattr(Started, "program", f"raise SystemExit({status})")
    monkeypatch.setattr("joulebook.summaries.analyst.subprocess.Popen", Started)
    analyst = Analyst(database, clock_ms=TurnedClock(NOW_MS), every_s=3600.0)
    analyst.start()
    wait_until(lambda: analyst.counts().rounds == 1)
    (sentence,) = analyst.counts().failing
    assert said in sentence
    assert analyst.counts().records_analysed == 0
    analyst.stop()


def test_a_stop_does_not_wait_for_an_analysis(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = home
    started: list[Started] = []

    class Slow(Started):
        program = "import time; time.sleep(600)"

        def __init__(self, command: list[str], **more: Any) -> None:
            super().__init__(command, **more)
            started.append(self)

    monkeypatch.setattr("joulebook.summaries.analyst.subprocess.Popen", Slow)
    analyst = Analyst(database, clock_ms=TurnedClock(NOW_MS), every_s=3600.0)
    analyst.start()
    wait_until(lambda: bool(started))
    analyst.stop()
    assert not analyst.counts().alive
    assert started[0].poll() is not None
    # And the next look, stopped before it begins, does nothing.
    analyst._round()
    assert len(started) == 1
    with closing(database.connect()) as connection:
        assert stored_record(connection, site) is None
