import logging
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries import processes
from joulebook.summaries.processes import Helper, HelperLostError, with_helper
from joulebook.summaries.stretches import Results, Stretch, compute_encoded
from tests.helpers.stored_plants import FIRST, plant_studio


@dataclass
class Studio:
    """A site, and how often its days were computed in this process."""

    database: Database
    site: Site
    here: list[Stretch] = field(default_factory=list)

    def stretch(self, days: int) -> Stretch:
        return Stretch(
            site=self.site,
            days=[FIRST + timedelta(days=offset) for offset in range(days)],
            max_gap_s=300.0,
        )

    def compute(self, stretch: Stretch) -> Results:
        self.here.append(stretch)
        with closing(self.database.connect()) as connection:
            return compute_encoded(connection, stretch)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    database, site, _ = plant_studio(tmp_path)
    yield Studio(database, site)
    database.close()


def noting(helpers: list[Helper]) -> Callable[[Database], Helper]:
    """Return how to start a helper that can be looked at."""

    def start(database: Database) -> Helper:
        helpers.append(Helper(database))
        return helpers[-1]

    return start


def test_both_processes_compute_the_same_bytes(studio: Studio) -> None:
    stretch = studio.stretch(3)
    with with_helper(studio.database, studio.compute) as whichever:
        # Whoever has waited longest comes next: ours, the other one, ours.
        ours, theirs, again = (whichever(stretch) for _ in range(3))
    assert len(studio.here) == 2
    assert ours == theirs == again
    assert [len(ours), ours[0].day] == [3, FIRST]


def test_a_helper_that_is_killed_costs_its_time_alone(
    studio: Studio, caplog: pytest.LogCaptureFixture
) -> None:
    helpers: list[Helper] = []
    parts = [studio.stretch(days) for days in (1, 2, 3, 1, 2, 3)]
    with (
        caplog.at_level(logging.WARNING),
        with_helper(studio.database, studio.compute, start=noting(helpers)) as whichever,
    ):
        found = [whichever(part) for part in parts[:2]]
        assert len(studio.here) == 1
        os.kill(helpers[0].pid, signal.SIGKILL)
        found += [whichever(part) for part in parts[2:]]
    assert studio.here == [parts[0], *parts[2:]]
    assert found == [studio.compute(part) for part in parts]
    assert caplog.text.count("the second process that computed days ended") == 1


def test_a_helper_that_cannot_read_the_database_is_lost(studio: Studio, tmp_path: Path) -> None:
    elsewhere = Database(tmp_path / "elsewhere")
    with closing(Helper(elsewhere)) as helper, pytest.raises(HelperLostError):
        helper.compute(studio.stretch(1))


def test_a_helper_that_does_not_end_is_ended(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "GRACE_S", 0.1)
    helper = Helper(studio.database)
    assert helper.compute(studio.stretch(1)) == studio.compute(studio.stretch(1))
    os.kill(helper.pid, signal.SIGSTOP)
    helper.close()
    with pytest.raises(ProcessLookupError):
        os.kill(helper.pid, 0)


def test_without_a_second_process_all_is_computed_here(
    studio: Studio, caplog: pytest.LogCaptureFixture
) -> None:
    def start(_: Database) -> Helper:
        raise OSError("no more processes")

    parts = [studio.stretch(1), studio.stretch(2)]
    with (
        caplog.at_level(logging.WARNING),
        with_helper(studio.database, studio.compute, start=start) as whichever,
    ):
        for part in parts:
            whichever(part)
    assert studio.here == parts
    assert "no second process computes days (no more processes)" in caplog.text


def test_no_process_stays_behind_an_interruption(studio: Studio) -> None:
    helpers: list[Helper] = []
    with (
        pytest.raises(KeyboardInterrupt),
        with_helper(studio.database, studio.compute, start=noting(helpers)),
    ):
        raise KeyboardInterrupt
    with pytest.raises(ProcessLookupError):
        os.kill(helpers[0].pid, 0)
