"""Hands a crew one task after the other, and takes back what it has done.

No more tasks are out than the crew has room for, so a run over a million homes asks no more of
anybody than one over a hundred. A task that failed rests and is tried again. One that ended
whoever tried it, by its need of memory say, takes those along that wait beside it: each of these
is tried once more at the end, with nothing else out, and then it is known which one it was.
"""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from queue import Empty, SimpleQueue
from typing import Protocol

from joulebook.crew.report import Report
from joulebook.crew.tasks import Done, Failed, Outcome, Task
from joulebook.errors import JoulebookError

#: How long a task rests before each further try. A database that restarts is back by then. [s]
RESTS_S = (2.0, 20.0)
#: How often it is asked whether the crew is still there, while nothing ends. [s]
LOOK_S = 2.0

Tell = Callable[[Outcome], object]


class Crew(Protocol):
    """Those who do tasks."""

    def room(self) -> int:
        """Return how many tasks may be out now, those that are being done among them.

        Raises
        ------
        JoulebookError
            If there is nobody left who could do any.
        """

    def begin(self, task: Task, tell: Tell) -> None:
        """Have a task done, and then tell once how it went, from any thread."""

    def drop(self) -> None:
        """Let go of what is out: what has not begun never does."""


@dataclass(frozen=True, slots=True)
class _Out:
    task: Task
    tries: int
    alone: bool = False


class Run:
    """One run of tasks over a crew.

    Parameters
    ----------
    crew : Crew
        Who does them.
    tasks : iterable of Task
        Taken as there is room.
    total : int
        How many those are.
    progress : callable, optional
        Told after each how many are ended, of how many.
    rests_s : sequence of float
        How long a task rests before each further try; there are no more tries than that. [s]
    clock_s : callable
        A clock that never goes back. [s]
    """

    def __init__(
        self,
        crew: Crew,
        tasks: Iterable[Task],
        *,
        total: int,
        progress: Callable[[int, int], None] | None = None,
        rests_s: tuple[float, ...] = RESTS_S,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._crew = crew
        self._waiting: Iterator[Task] = iter(tasks)
        self._more = True
        self._total = total
        self._progress = progress
        self._rests_s = rests_s
        self._clock_s = clock_s
        self._ended: SimpleQueue[tuple[_Out, Outcome]] = SimpleQueue()
        self._resting: list[tuple[float, int, _Out]] = []
        self._suspects: list[Task] = []
        self._room = 0
        self._out = 0
        self._repeated = 0
        self._done: list[Done] = []
        self._failed: list[Failed] = []

    def go(self) -> Report:
        """Have all tasks done; return how that went, also when it was ended before its time."""
        began_s = self._clock_s()
        ended_by: JoulebookError | None = None
        interrupted = False
        try:
            while self._begin_more():
                self._wait_for_one()
        except KeyboardInterrupt:
            interrupted = True
        except JoulebookError as error:
            ended_by = error
        finally:
            self._crew.drop()
        self._take_the_rest()
        return Report(
            done=tuple(self._done),
            failed=tuple(self._failed),
            left=self._total - len(self._done) - len(self._failed),
            repeated=self._repeated,
            ended_by=ended_by,
            interrupted=interrupted,
            took_s=self._clock_s() - began_s,
        )

    def _begin_more(self) -> bool:
        """Begin what there is room for; return whether anything is still to end."""
        self._room = self._crew.room()
        while self._out < self._room and (next_one := self._next()) is not None:
            self._out += 1

            def tell(outcome: Outcome, out: _Out = next_one) -> None:
                self._ended.put((out, outcome))

            self._crew.begin(next_one.task, tell)
        return self._out > 0 or bool(self._resting or self._suspects) or self._more

    def _next(self) -> _Out | None:
        """Return a task that has rested, else one that was never begun, else a suspect alone."""
        if self._resting and self._resting[0][0] <= self._clock_s():
            return heappop(self._resting)[2]
        if self._more:
            task = next(self._waiting, None)
            if task is not None:
                return _Out(task, tries=1)
            self._more = False
        if self._suspects and not self._out and not self._resting:
            return _Out(self._suspects.pop(), tries=1, alone=True)
        return None

    def _wait_for_one(self) -> None:
        wait_s = LOOK_S
        if self._resting and self._out < self._room:
            wait_s = min(wait_s, max(self._resting[0][0] - self._clock_s(), 0.0))
        try:
            out, outcome = self._ended.get(timeout=wait_s)
        except Empty:
            return
        self._out -= 1
        self._take(out, outcome)

    def _take_the_rest(self) -> None:
        """Take what ended while the crew was let go."""
        while not self._ended.empty():
            _, outcome = self._ended.get()
            if isinstance(outcome, Done):
                self._done.append(outcome)
            else:
                self._failed.append(outcome)

    def _take(self, out: _Out, outcome: Outcome) -> None:
        if isinstance(outcome, Done):
            self._done.append(outcome)
        elif outcome.again and out.tries <= len(self._rests_s):
            self._repeated += 1
            due_s = self._clock_s() + self._rests_s[out.tries - 1]
            heappush(self._resting, (due_s, self._repeated, _Out(out.task, out.tries + 1)))
            return
        elif outcome.suspect and not out.alone:
            self._repeated += 1
            self._suspects.append(out.task)
            return
        else:
            self._failed.append(outcome)
        if self._progress is not None:
            self._progress(len(self._done) + len(self._failed), self._total)
