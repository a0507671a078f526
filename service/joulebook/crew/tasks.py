"""What is done for one home, wherever it is done.

A task may be done twice, or half and then again: each step is a transaction that leaves a home's
results as they are, or as the readings say. So whoever hands out tasks may lose a worker, and
give its task to another one.
"""

import logging
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from typing import Literal

from joulebook import __version__
from joulebook.core.daily.days import METHOD
from joulebook.core.records.record import RECORD_METHOD
from joulebook.crew.digests import digest_of
from joulebook.crew.places import Place, kept
from joulebook.errors import DataRefusedError, JoulebookError, UsageError
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.homes.lines import update_numbers_of
from joulebook.summaries.recompute import catch_up, recompute
from joulebook.summaries.record_update import update_record

_log = logging.getLogger(__name__)

#: ``recompute``: every day anew, then the record. ``analyse``: what is behind, as every night.
Kind = Literal["recompute", "analyse"]

#: What computes here. Others may compute otherwise, and are not mixed.
VERSIONS = f"joulebook {__version__}, {METHOD}, {RECORD_METHOD}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One home's work. It holds no secret: schedulers list and log what they are given.

    Attributes
    ----------
    kind : str
        What is to be done.
    site : str
        The home's name.
    max_gap_s : float
        No integral bridges more. [s]
    versions : str
        Of program and methods, of whoever wants it done.
    """

    kind: Kind
    site: str
    max_gap_s: float
    versions: str = VERSIONS


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A home's work, done.

    Attributes
    ----------
    days : int
        How many days were computed.
    seconds : float
        What it took. [s]
    digest : str
        Of all results that are now stored of the home.
    """

    site: str
    kind: Kind
    days: int
    seconds: float
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """A home's work that could not be done.

    Attributes
    ----------
    why : str
        For a person.
    again : bool
        Whether another try may help.
    suspect : bool
        Whether whoever tried it ended: by this home, or by another that was handed out beside it.
    """

    site: str
    kind: Kind
    why: str
    again: bool
    suspect: bool = False


Outcome = Done | Failed


class _StoppedError(Exception):
    """Whoever asked does not want it any more."""


def perform(
    task: Task,
    database: Database,
    *,
    helped: bool = False,
    stopping: Callable[[], bool] = lambda: False,
) -> Outcome:
    """Do a task and tell how it went; nothing is raised, for errors travel badly.

    Parameters
    ----------
    database : Database
        Where the home's readings are.
    helped : bool
        Whether many days may be computed in a second process beside this one.
    stopping : callable
        Asked after every few days; what is left of a home stays dirty.
    """
    began_s = time.perf_counter()

    def step(_done: int, _of: int) -> None:
        if stopping():
            raise _StoppedError

    failed = partial(_failed, task)
    if task.versions != VERSIONS:
        return failed(f"asked for by {task.versions}, and this worker is {VERSIONS}", again=False)
    try:
        site = site_named(database, task.site)
        days = _worked(database, site, task, helped=helped, step=step)
        digest = digest_of(database, site)
    except _StoppedError:
        return failed("stopped half-way; the service computes what is left", again=False)
    except (UsageError, DataRefusedError) as error:
        return failed(error.what, again=False)
    except JoulebookError as error:
        return failed(error.what, again=True)
    except Exception as error:  # noqa: BLE001 -- a bug of ours costs its home, not the others
        _log.exception("site %s: %s failed", task.site, task.kind)
        return failed(f"{type(error).__name__}: {error}", again=True)
    took_s = time.perf_counter() - began_s
    return Done(site=task.site, kind=task.kind, days=days, seconds=took_s, digest=digest)


def perform_at(task: Task, place: Place) -> Outcome:
    """Do a task in a process of its own, as :func:`perform` does."""
    try:
        database = kept(place)
    except JoulebookError as error:  # no driver, an address that is none
        return _failed(task, error.what, again=False)
    return perform(task, database)


def _failed(task: Task, why: str, *, again: bool) -> Failed:
    return Failed(site=task.site, kind=task.kind, why=why, again=again)


def _worked(
    database: Database,
    site: Site,
    task: Task,
    *,
    helped: bool,
    step: Callable[[int, int], None],
) -> int:
    """Compute a home's days, of these and its readings its record, and of that its numbers."""
    compute = recompute if task.kind == "recompute" else catch_up
    days = compute(
        *(database, site),
        clock_ms=_clock_ms,
        max_gap_s=task.max_gap_s,
        progress=step,
        helped=helped,
    )
    update_record(database, site, clock_ms=_clock_ms, max_gap_s=task.max_gap_s)
    with closing(database.connect()) as connection:
        update_numbers_of(connection, site, now_ms=_clock_ms())
    return days


def _clock_ms() -> int:
    return time.time_ns() // 1_000_000
