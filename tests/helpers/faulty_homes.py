"""Makes the work of some homes go wrong in a worker: a preload of Dask, by the home's name.

Who tried each home is kept in the data directory, ``NAME.tries``: the number of the process, a line
a try.
"""

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from joulebook.crew import tasks
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.records import Site
from joulebook.summaries.recompute import recompute

TWICE, ALWAYS, HELD, HUNGRY = "fails-twice", "fails-always", "is-held", "is-hungry"


def tries_of(data_dir: Path, site: str) -> int:
    """Return how often a home was tried."""
    return len(triers_of(data_dir, site))


def triers_of(data_dir: Path, site: str) -> list[int]:
    """Return the number of the process that made each try of a home, in order."""
    file = data_dir / f"{site}.tries"
    return [int(line) for line in file.read_text().split()] if file.exists() else []


def holder_of(data_dir: Path) -> Path:
    """Return the file with the number of the process that holds the first try of ``HELD``."""
    return data_dir / "holder"


def faulty(compute: Callable[..., int]) -> Callable[..., int]:
    """Return a function that computes a home's days, and goes wrong for some homes."""

    def computed(database: Database, site: Site, **more: Any) -> int:
        data_dir = database.data_dir
        with (data_dir / f"{site.name}.tries").open("a") as file:
            file.write(f"{os.getpid()}\n")
        tries = tries_of(data_dir, site.name)
        if site.name == TWICE and tries <= 2:
            raise StorageUnavailableError(
                "the database is away", where=data_dir, expected="it", next_step="wait"
            )
        if site.name == ALWAYS:
            raise ArithmeticError("cannot add up")
        if site.name == HELD and tries == 1:  # pragma: no cover -- it is killed here
            held = data_dir / "holder.new"
            held.write_text(str(os.getpid()))
            held.rename(holder_of(data_dir))
            threading.Event().wait()
        if site.name == HUNGRY:  # pragma: no cover -- it is killed here
            eaten = []
            while True:
                eaten.append(b"\1" * 20_000_000)
        return compute(database, site, **more)

    return computed


def dask_setup(_worker: object) -> None:  # pragma: no cover -- Dask calls it in a worker
    """Put the faults in."""
    vars(tasks)["recompute"] = faulty(recompute)
