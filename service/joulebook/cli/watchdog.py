"""Watches over the workers: one that died or got stuck is started again, and that is said.

A thread of Python cannot be ended from outside, so one that is stuck is left alone and another
does its work; it ends by itself should it ever get further.
"""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from joulebook.web.watch.health import WorkerHealth

_log = logging.getLogger(__name__)

#: How often it looks. [s]
LOOK_S = 1.0
#: The first start is at once, the second waits this long, each after it twice as long. [s]
FIRST_PAUSE_S = 2.0
LONGEST_PAUSE_S = 3600.0
#: A worker that got on for so long is well again: its next fault is a first one. [s]
WELL_AGAIN_S = 600.0
#: How often a worker is started in a row unless more, or less, is said of it.
MOST_STARTS = 5


class Worker(Protocol):
    """What is asked of a worker."""

    @property
    def alive(self) -> bool:
        """Whether it runs at all."""

    @property
    def silent_s(self) -> float:
        """How long it has been at work without a step. [s]"""

    def restart(self) -> object:
        """Start it again, beside one that is stuck."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """A worker and what is expected of it.

    Attributes
    ----------
    name : str
        As a person and a metric call it, such as ``writer``.
    patience_s : float
        How long it may be at work without a step. [s]
    without : str
        What happens while it does not work, such as ``nothing is stored``.
    vital : bool
        The process is of no use without it.
    most_starts : int
        So many starts in a row help no more: a vital worker takes the process with it, and one
        that is stuck is not followed by yet another thread.
    """

    name: str
    worker: Worker
    patience_s: float
    without: str
    vital: bool = False
    most_starts: int = MOST_STARTS


class _Course:
    """What became of one worker so far."""

    def __init__(self) -> None:
        self.restarts = 0  # since the start of the service
        self.tries = 0  # in a row
        self.next_try_s = 0.0
        self.fault: str | None = None
        self.hopeless = False


class Watchdog:
    """Looks at workers in a thread of its own.

    Parameters
    ----------
    give_up : callable
        Called with a sentence once a vital worker cannot be helped: the process is to end.
    all_well : callable
        Called after each look that finds every vital worker at work.
    now_s : callable
        Seconds of a clock that never goes back.
    """

    def __init__(
        self,
        watched: Sequence[Watched],
        *,
        give_up: Callable[[str], object],
        all_well: Callable[[], object] = lambda: None,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._courses = {one.name: (one, _Course()) for one in watched}
        self._give_up = give_up
        self._all_well = all_well
        self._now_s = now_s
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watchdog", daemon=True)

    def start(self) -> None:
        """Start to look."""
        self._thread.start()

    def stop(self) -> None:
        """Look no more: from here on workers end because they are told to."""
        self._ending.set()
        self._thread.join()

    def workers(self) -> tuple[WorkerHealth, ...]:
        """Say how each worker does, as of the last look."""
        return tuple(
            WorkerHealth(name=name, restarts=course.restarts, problem=_sentence(one, course))
            for name, (one, course) in self._courses.items()
        )

    def look(self) -> None:
        """Look at each worker once."""
        for one, course in self._courses.values():
            try:
                self._look_at(one, course)
            except Exception:  # noqa: BLE001 -- told, and tried again
                _log.exception("the %s could not be started again", one.name)
        if all(course.fault is None for one, course in self._courses.values() if one.vital):
            self._all_well()

    def _run(self) -> None:
        while not self._ending.wait(LOOK_S):
            self.look()

    def _look_at(self, one: Watched, course: _Course) -> None:
        now_s = self._now_s()
        fault = _fault(one)
        if fault is None:
            if course.fault is not None:
                _log.warning("the %s works again", one.name, extra={"worker": one.name})
                course.fault = None
            if now_s >= course.next_try_s + WELL_AGAIN_S:
                course.tries, course.hopeless = 0, False
            return
        if course.fault is None:
            _log.error("the %s %s: %s", one.name, fault, one.without, extra={"worker": one.name})
        course.fault = fault
        if now_s < course.next_try_s or course.hopeless:
            return
        if course.tries >= one.most_starts and (one.vital or one.worker.alive):
            course.hopeless = True
            _log.error("the %s %s, and cannot be helped", one.name, fault)
            if one.vital:
                self._give_up(f"the {one.name} {fault}, and cannot be helped")
            return
        course.next_try_s = now_s + min(FIRST_PAUSE_S * 2**course.tries, LONGEST_PAUSE_S)
        course.tries += 1
        course.restarts += 1
        _log.warning(
            "starting the %s again, time %d",
            *(one.name, course.tries),
            extra={"worker": one.name, "restarts": course.restarts},
        )
        one.worker.restart()


def _fault(one: Watched) -> str | None:
    if not one.worker.alive:
        return "has stopped"
    silent_s = one.worker.silent_s
    if silent_s > one.patience_s:
        return f"has been stuck for {silent_s:.0f} s"
    return None


def _sentence(one: Watched, course: _Course) -> str | None:
    if course.fault is None:
        return None
    coming = (
        "restart the service, and report the log"
        if course.hopeless
        else "it is started again by itself; if this stays, restart the service"
    )
    return f"the {one.name} {course.fault}, {one.without}: {coming}"
