"""A crew of the workers of a Dask scheduler, on this machine or many; needs the extra ``fleet``."""

import time
import uuid
from collections.abc import Callable
from functools import partial

from distributed import Client, Future
from distributed.scheduler import KilledWorker

from joulebook.crew.places import Place
from joulebook.crew.runs import Tell
from joulebook.crew.tasks import Failed, Outcome, Task, perform_at
from joulebook.errors import UnavailableError

#: Tasks out for each task that can be done at a time: the next ones are there when one ends.
AHEAD = 2
#: How often the workers are counted, who may come and go. [s]
COUNT_S = 5.0
#: How long a run goes on while no worker is there. [s]
PATIENCE_S = 120.0
#: How long a scheduler may take to answer, and to come back when it went away. [s]
ANSWER_S = 30.0


class SchedulerCrew:
    """Has tasks done by whichever workers a scheduler has, now and later.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://127.0.0.1:8786``.
    place : Place
        Where the homes' readings are, seen from the workers.
    patience_s : float
        How long it waits for a worker while there is none. [s]
    answer_s : float
        How long the scheduler may take to answer, and to come back when it went away. [s]
    clock_s : callable
        A clock that never goes back. [s]

    Raises
    ------
    UnavailableError
        If no scheduler answers there.
    """

    def __init__(
        self,
        address: str,
        place: Place,
        *,
        patience_s: float = PATIENCE_S,
        answer_s: float = ANSWER_S,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address = address
        self._place = place
        self._patience_s = patience_s
        self._clock_s = clock_s
        self._run = uuid.uuid4().hex[:8]
        self._begun = 0
        self._out: dict[str, Future[Outcome]] = {}
        self._dropped = False
        try:
            self._client = Client(address, timeout=answer_s, set_as_default=False, name="joulebook")
        except (OSError, TimeoutError) as error:
            raise self._away("no scheduler answers") from error
        self._threads = 0
        self._counted_s = float("-inf")
        self._seen_s = clock_s()

    def room(self) -> int:
        """Return how many tasks may be out for the workers that are there now.

        Raises
        ------
        UnavailableError
            If the scheduler is gone, or has had no worker for too long.
        """
        if self._client.status == "closed":
            raise self._away("the scheduler has gone")
        now_s = self._clock_s()
        if now_s - self._counted_s >= COUNT_S:
            self._threads = self._count()
            self._counted_s = now_s
        if self._threads:
            self._seen_s = now_s
        elif now_s - self._seen_s >= self._patience_s:
            raise UnavailableError(
                f"the scheduler has had no worker for {self._patience_s:g} s",
                where=self._address,
                expected="at least one worker",
                next_step=f"start one: dask worker {self._address} --nthreads 1",
            )
        return AHEAD * self._threads

    def begin(self, task: Task, tell: Tell) -> None:
        """Hand a task to the scheduler."""
        self._begun += 1
        # Kind first: so the scheduler knows what tasks of a kind take. The place is no part of it.
        key = f"{task.kind}-{self._run}-{self._begun}"
        future = self._client.submit(perform_at, task, self._place, key=key, pure=False)
        self._out[key] = future
        future.add_done_callback(partial(self._ended, task, tell))

    def drop(self) -> None:
        """Take back what no worker has begun, and leave the scheduler.

        A home that a worker is at is finished there: its results are then as good as any.
        """
        self._dropped = True
        out = list(self._out.values())
        if out and self._client.status == "running":
            self._client.cancel(out, force=True)
        self._client.close()

    def _ended(self, task: Task, tell: Tell, future: Future[Outcome]) -> None:
        self._out.pop(str(future.key), None)
        outcome = self._outcome(task, future)
        if not self._dropped:
            tell(outcome)

    def _outcome(self, task: Task, future: Future[Outcome]) -> Outcome:
        """Return what a worker told, or why none did."""
        try:
            outcome: Outcome = future.result()
        except KilledWorker as error:
            tries = error.allowed_failures + 1
            why = f"each of the {tries} workers that were handed it ended: too little memory?"
            return Failed(site=task.site, kind=task.kind, why=why, again=False, suspect=True)
        except Exception as error:  # noqa: BLE001 -- anything may happen far away: it costs its home
            why = f"{type(error).__name__}: {error}"
            return Failed(site=task.site, kind=task.kind, why=why, again=True)
        return outcome

    def _count(self) -> int:
        """Return how many tasks the workers can do at a time; the last count while it is away."""
        try:
            return sum(self._client.nthreads().values())
        except (OSError, TimeoutError, RuntimeError, AttributeError):
            # It may come back: Dask tries for as long as it may take to answer. Meanwhile the
            # client has no scheduler to ask, not even as an attribute.
            return self._threads

    def _away(self, what: str) -> UnavailableError:
        return UnavailableError(
            what,
            where=self._address,
            expected="a Dask scheduler that this machine can reach",
            next_step="start one with `dask scheduler`, or leave the setting 'scheduler' away",
        )
