"""``kill -9`` of Dask workers while they compute homes on a PostgreSQL server."""

import os
import random
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from joulebook.crew.places import place_of
from joulebook.crew.report import Report
from joulebook.crew.runs import Run
from joulebook.crew.threads import ThreadCrew
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database, transaction
from tests.faults.told import Told, counted
from tests.helpers.copies import fsyncing_server
from tests.helpers.crews import RunningCrew, running_crew, some_homes, stored_results, tasks_of
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.told_workers import at_work, forget

#: Computed in each round, by two workers of one thread each.
HOMES = tuple(f"home-{number}" for number in range(12))
WORKERS = 2
#: How long after a worker began a home it is killed, at most: about what a home takes. [s]
LATEST_S = 0.1
PATIENCE_S = 120.0
Row = tuple[str, bytes]


class Killing:
    """A crew whose workers are killed while they compute, and what came of it.

    Attributes
    ----------
    expected : Counter of (str, bytes)
        Each home's results, as threads make them.
    """

    def __init__(self, database: Database, crew: RunningCrew, chance: random.Random) -> None:
        self._database = database
        self._crew = crew
        self._chance = chance
        self._rounds = self._struck = self._again = self._done = 0
        self._sent: list[int] = []
        self._stored: list[int] = []
        assert self._computed(ThreadCrew(database)).failed == ()
        self.expected = rows_of(database)

    def kill_worker(self) -> None:
        """Forget all results, have them computed, kill a worker at a home, and count."""
        from joulebook.crew.scheduler import SchedulerCrew

        forget_results(self._database)
        assert not rows_of(self._database)
        # After so many homes, and so that some are left to be killed at.
        after, far = self._chance.randrange(len(HOMES) - 2 * WORKERS), threading.Event()
        killer = threading.Thread(target=self._kill, args=(far,))
        killer.start()
        report = self._computed(
            SchedulerCrew(self._crew.address, place_of(self._database)),
            lambda done, _: far.set() if done >= after else None,
        )
        killer.join()
        self._again += report.repeated
        self._done += len(report.done)
        self._count()

    def _computed(self, crew: Any, progress: Callable[[int, int], None] | None = None) -> Report:
        tasks = tasks_of(self._database)
        return Run(crew, tasks, total=len(tasks), rests_s=(0.0,), progress=progress).go()

    def _kill(self, far: threading.Event) -> None:
        data_dir = self._database.data_dir
        assert far.wait(PATIENCE_S)
        seen: list[int] = []

        def look() -> bool:
            seen[:] = at_work(data_dir)
            return bool(seen)

        wait_until(look, PATIENCE_S)
        process = self._chance.choice(seen)
        time.sleep(self._chance.uniform(0, LATEST_S))
        os.kill(process, signal.SIGKILL)
        wait_until(lambda: has_ended(process), PATIENCE_S)
        self._struck += forget(data_dir, process)

    def _count(self) -> None:
        """Number what must be there and what is there: a row that is unlike has no number."""
        begin = self._rounds * 1_000_000
        self._rounds += 1
        numbers = {row: begin + place for place, row in enumerate(sorted(self.expected))}
        self._sent += numbers.values()
        for place, row in enumerate(rows_of(self._database).elements()):
            self._stored.append(numbers.get(row, begin + 500_000 + place))

    def told(self) -> Told:
        """Return what came of all rounds."""
        return counted(
            "Dask worker killed at a home",
            self._sent,
            self._stored,
            rounds=self._rounds,
            struck=self._struck,
            note=f"in and out: results of {self._done} computed homes, each deleted before and "
            f"equal to what threads make; {self._again} homes told as failed and tried again",
        )


def rows_of(database: Database) -> Counter[Row]:
    """Return the stored results of all homes."""
    stored = stored_results(database)
    return Counter((site, repr(row).encode()) for site, rows in stored.items() for row in rows)


def forget_results(database: Database) -> None:
    """Delete what is computed of each home."""
    tables = ("day_results", "record_results", "home_lines")
    with closing(database.connect()) as connection, transaction(connection):
        for site in sites(database):
            for table in tables:
                connection.execute(f"DELETE FROM {table} WHERE site_id = ?", (site.id,))


def has_ended(process: int) -> bool:
    """Tell whether a process is gone, or is only there to be waited for by who started it."""
    try:
        status = Path(f"/proc/{process}/stat").read_text()
    except OSError:
        return True
    return status.rsplit(")", 1)[1].split()[0] == "Z"


def killed_workers(folder: Path, rounds: int, seed: int) -> Told:
    """Kill a worker of two so often, each time while they compute all homes."""
    preloads = ["joulebook.crew.preload", "tests.helpers.told_workers"]
    with (
        fsyncing_server() as server,
        running_crew(folder, workers=WORKERS, preloads=preloads) as crew,
        closing(some_homes(folder / "data", HOMES, server=server.place())) as database,
    ):
        killing = Killing(database, crew, random.Random(seed))
        for _ in range(rounds):
            killing.kill_worker()
        return killing.told()
