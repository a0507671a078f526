"""Homes for a crew to compute, and a Dask scheduler with its workers, as processes of their own."""

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import msgspec

from joulebook.crew.tasks import Kind, Task
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.days import day_results
from joulebook.storage.record_results import record_result
from joulebook.summaries.results import json_of
from tests.helpers.cycled_records import cycled_site
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.outside import is_absent
from tests.helpers.plants import CELLS, RATED_AH, plant_of_days
from tests.helpers.service import clean_environment
from tests.helpers.stored_plants import FIRST, store

ROOT = Path(__file__).parents[2]
DOCUMENTS = ("record", "wear", "nights", "efficiency")


def some_homes(
    data_dir: Path, names: Sequence[str], *, server: ServerPlace | None = None
) -> Database:
    """Return a database with two days of each home, and ten with a record of ``studio``."""
    database, _ = cycled_site(data_dir, 10, server=server)
    for seed, name in enumerate(names):
        site = add_site(
            *(database, name, "America/Chicago"), battery_ah=RATED_AH, battery_cells=CELLS
        )
        last = FIRST + timedelta(days=1)
        store(database, site, plant_of_days(FIRST, last, site, step_s=600, seed=seed))
    return database


def tasks_of(database: Database, kind: Kind = "recompute") -> list[Task]:
    """Return a task for each site."""
    return [Task(kind=kind, site=site.name, max_gap_s=300.0) for site in sites(database)]


def stored_results(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Return the bytes of all results of each site; the instant of computing is taken out."""
    stored: dict[str, list[tuple[Any, ...]]] = {}
    with closing(database.connect()) as connection:
        for site in sites(database):
            rows: list[tuple[Any, ...]] = list(day_results(connection, site.id, None, None))
            for name in DOCUMENTS:
                found = record_result(connection, site.id, name)
                if found is not None:
                    plain = msgspec.json.decode(json_of(found.result))
                    if name in ("wear", "efficiency"):
                        del plain["record"]["computed_ms"]
                    rows.append((name, found.method, msgspec.json.encode(plain)))
            stored[site.name] = rows
    return stored


@dataclass(frozen=True, slots=True)
class RunningCrew:
    """A scheduler and its workers: the processes that were started, the scheduler first."""

    address: str
    processes: "Sequence[subprocess.Popen[bytes]]"


@contextmanager
def running_crew(
    folder: Path, *, workers: int, preloads: Sequence[str] = (), memory: str = "1GiB"
) -> Iterator[RunningCrew]:
    """Have a scheduler and some workers run as processes, each with one thread; end them at once.

    Needs the extra ``fleet``; without it the test is skipped, or fails where all must be there.
    """
    needs_distributed()
    told = folder / "scheduler.json"
    environment = {
        **clean_environment(),
        "PYTHONPATH": str(ROOT),
        **dask_settings(),
    }

    def started(*arguments: str) -> "subprocess.Popen[bytes]":
        with (folder / f"{arguments[0]}.log").open("wb") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "dask", *arguments, "--no-dashboard"],
                cwd=folder,
                env=environment,
                stderr=log,
                process_group=0,  # its children end with it
            )

    processes = [
        started(*("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(told)))
    ]
    try:
        wait_until(lambda: told.exists() and told.read_text().endswith("}"), 60.0)
        if workers:
            each = ("--nworkers", str(workers), "--nthreads", "1", "--memory-limit", memory)
            ready = [part for name in preloads for part in ("--preload", name)]
            processes.append(started("worker", "--scheduler-file", str(told), *each, *ready))
        yield RunningCrew(json.loads(told.read_text())["address"], processes)
    finally:
        for process in processes:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def dask_settings() -> dict[str, str]:
    """Return the settings of Dask that the page of operators gives."""
    page = (ROOT / "docs" / "operating" / "fleet-compute.md").read_text(encoding="utf-8")
    return dict(re.findall(r"^export (DASK_\w+)=(\S+)$", page, flags=re.MULTILINE))


def needs_distributed() -> None:
    """Skip the test without the extra ``fleet``, or fail it where all must be there."""
    if find_spec("distributed") is None:
        is_absent("the extra 'fleet' is not installed")
