"""Tells which workers are at a home's work: a preload of Dask, and how to read what it tells.

While a worker computes a home, the data directory holds a file of the process's number. Who is
killed leaves it behind, and so tells that it was in the midst.
"""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from joulebook.crew import tasks
from joulebook.storage.database import Database


def at_work(data_dir: Path) -> list[int]:
    """Return the processes that are computing a home, the dead among them."""
    return sorted(int(file.name.split("-")[-1]) for file in data_dir.glob("at-work-*"))


def forget(data_dir: Path, process: int) -> bool:
    """Forget a process that has ended; return whether it was computing a home."""
    left = mark_of(data_dir, process)
    inside = left.exists()
    left.unlink(missing_ok=True)
    return inside


def mark_of(data_dir: Path, process: int) -> Path:
    """Return the file that is there while a process computes a home."""
    return data_dir / f"at-work-{process}"


def telling(work: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that does a home's work, and tells when it begins and ends."""

    def worked(database: Database, *rest: Any, **more: Any) -> Any:
        mark = mark_of(database.data_dir, os.getpid())
        mark.touch()
        try:
            return work(database, *rest, **more)
        finally:
            mark.unlink()

    return worked


def dask_setup(_worker: object) -> None:  # pragma: no cover -- Dask calls it in a worker
    """Have it told."""
    vars(tasks)["_worked"] = telling(vars(tasks)["_worked"])
