"""Measure a crew: ``python -m tests.measure_crew [--homes 200] [--days 14] [--rounds 2]``.

The same homes are computed anew by as many threads as the command takes, and by two Dask workers
of one thread each with their scheduler, all on this machine, in turn. Each home has readings of
four devices every two minutes. Prints one JSON document: seconds by the clock and of processors,
and their ratios.
"""

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from distributed import Client

from joulebook.crew.places import place_of
from joulebook.crew.runs import Crew, Run
from joulebook.crew.scheduler import SchedulerCrew
from joulebook.crew.threads import ThreadCrew
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from tests.helpers.crews import running_crew, tasks_of
from tests.helpers.plants import CELLS, RATED_AH, plant_of_days
from tests.helpers.seen_processes import children_of
from tests.helpers.stored_plants import FIRST, store

_TICKS = os.sysconf("SC_CLK_TCK")
WORKERS = 2


def homes_in(data_dir: Path, homes: int, days: int) -> Database:
    """Return a database with so many homes of so many days."""
    database = Database.open(data_dir)
    last = FIRST + timedelta(days=days - 1)
    for number in range(homes):
        name = f"home-{number:05d}"
        site = add_site(
            *(database, name, "America/Chicago"), battery_ah=RATED_AH, battery_cells=CELLS
        )
        store(database, site, plant_of_days(FIRST, last, site, seed=number))
    return database


def processor_s(process: int) -> float:
    """Return the processor time of a process and those that it started. [s]"""
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    own = (int(fields[11]) + int(fields[12])) / _TICKS
    return own + sum(map(processor_s, children_of(process)))


def measured(
    database: Database, crew: Callable[[], Crew], others: tuple[int, ...]
) -> tuple[dict[str, float], dict[str, str]]:
    """Compute every home and return what it took, and the homes' digests."""
    tasks = tasks_of(database)
    before_s = time.process_time() + sum(map(processor_s, others))
    began_s = time.perf_counter()
    report = Run(crew(), tasks, total=len(tasks)).go()
    took_s = time.perf_counter() - began_s
    used_s = time.process_time() + sum(map(processor_s, others)) - before_s
    assert len(report.done) == len(tasks), report.failed
    digests = {each.site: each.digest for each in report.done}
    return {"seconds": round(took_s, 2), "processor_s": round(used_s, 2)}, digests


def measure(folder: Path, homes: int, days: int, rounds: int) -> dict[str, Any]:
    """Return all that is printed."""
    database = homes_in(folder / "data", homes, days)
    told: dict[str, Any] = {"homes": homes, "days_each": days, "rounds": []}
    with running_crew(folder, workers=WORKERS, preloads=["joulebook.crew.preload"]) as running:
        client = Client(running.address, timeout=60, set_as_default=False)
        client.wait_for_workers(WORKERS, timeout=60)
        client.close()
        others = tuple(process.pid for process in running.processes)
        crews: dict[str, tuple[Callable[[], Crew], tuple[int, ...]]] = {
            "threads": (lambda: ThreadCrew(database), ()),
            "dask": (lambda: SchedulerCrew(running.address, place_of(database)), others),
        }
        for _ in range(rounds):
            one: dict[str, Any] = {"load_average": round(os.getloadavg()[0], 1)}
            found = []
            for name, (crew, processes) in crews.items():
                one[name], digests = measured(database, crew, processes)
                found.append(digests)
            one["equal"] = found[0] == found[1]
            told["rounds"].append(one)
    for what in ("seconds", "processor_s"):
        ratios = [one["dask"][what] / one["threads"][what] for one in told["rounds"]]
        told[f"{what}_dask_over_threads"] = round(statistics.median(ratios), 3)
    database.close()
    return told


def main(arguments: list[str]) -> None:  # pragma: no cover -- reads what was typed
    parser = argparse.ArgumentParser()
    parser.add_argument("--homes", type=int, default=200)
    parser.add_argument("--days", type=int, default=14)
    parser.add_argument("--rounds", type=int, default=2)
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        told = measure(Path(folder), given.homes, given.days, given.rounds)
    sys.stdout.write(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
