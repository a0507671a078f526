"""The one writer: takes messages from every door, commits them in groups, then reports.

What arrives while a commit is on its way to disk goes into the next one, so the groups grow with
the load by themselves. A door hears of a message only once it is on disk.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from joulebook.errors import UnavailableError
from joulebook.ingest.committer import Committer, Outcome
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.storage.database import Database
from joulebook.storage.records import Written

log = logging.getLogger(__name__)

Settled = Callable[[Sequence[Verdict]], None]

#: Most messages in one transaction: it bounds how long a door waits and what a retry repeats.
MOST_A_COMMIT = 20_000
#: A failing commit is tried again after at most this. [s]
MOST_RETRY_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InboxCounts:
    """What has gone through the inbox since it was made."""

    messages: int  # settled
    new: int
    repeated: int
    replaced: int
    quarantined: int  # messages or parts of messages
    commits: int
    queued: int  # messages waiting, those being written included
    last_commit_ms: int | None
    failing: str | None  # why commits fail now
    alive: bool


class Inbox:
    """Queues messages from any thread and writes them in one.

    Parameters
    ----------
    clock_ms : callable
        The time of day. [ms, UTC epoch]
    mappings : Mappings, optional
        What other bridges publish, on topics of their own.
    wrote : callable
        Called in the writer thread after each commit.
    room : int
        How many messages may wait before :meth:`has_room` says no.
    retry_s : float
        Wait after the first failed commit; it doubles up to half a minute. [s]
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        mappings: Mappings | None = None,
        wrote: Callable[[], None] = lambda: None,
        room: int = 20_000,
        retry_s: float = 1.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._mappings = mappings
        self._wrote = wrote
        self._room = room
        self._retry_s = retry_s
        self._committer: Committer | None = None  # the writer thread's
        self._queue: deque[tuple[Sequence[Message], Settled]] = deque()
        self._changed = threading.Condition()
        self._queued = 0
        self._give_up_at: float | None = None  # set once the inbox is to end
        self._written = Written()
        self._settled_messages = self._quarantined = self._commits = 0
        self._last_commit_ms: int | None = None
        self._failing: str | None = None
        self._thread = threading.Thread(target=self._run, name="inbox", daemon=True)

    def start(self) -> None:
        """Start the writer thread."""
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """Write what is queued, then end. What cannot be written in time is never settled."""
        with self._changed:
            self._give_up_at = time.monotonic() + timeout_s
            self._changed.notify_all()
        if self._thread.is_alive():  # it may never have been started
            self._thread.join(timeout_s + 1.0)

    def put(self, messages: Sequence[Message], settled: Settled) -> None:
        """Queue messages; never blocks.

        ``settled`` is called in the writer thread after the commit that holds them, with a
        verdict for each. Whoever calls ``put`` faster than the disk asks :meth:`has_room` first.
        """
        with self._changed:
            self._queue.append((messages, settled))
            self._queued += len(messages)
            self._changed.notify_all()

    def has_room(self) -> bool:
        """Return whether doors may go on reading."""
        return self._queued < self._room

    def counts(self) -> InboxCounts:
        """Return the counts of now."""
        with self._changed:
            return InboxCounts(
                messages=self._settled_messages,
                new=self._written.new,
                repeated=self._written.repeated,
                replaced=self._written.replaced,
                quarantined=self._quarantined,
                commits=self._commits,
                queued=self._queued,
                last_commit_ms=self._last_commit_ms,
                failing=self._failing,
                alive=self._thread.is_alive(),
            )

    def _run(self) -> None:
        while batch := self._take():
            messages = [message for part, _ in batch for message in part]
            outcome = self._commit(messages)
            if outcome is None:
                log.error("%d messages were not written in time; not acknowledged", len(messages))
                break
            self._note(messages, outcome)
            self._tell(batch, outcome)
        if self._committer is not None:
            self._committer.close()

    def _take(self) -> list[tuple[Sequence[Message], Settled]]:
        """Return what is queued, up to a transaction's worth; nothing once the inbox ends."""
        batch: list[tuple[Sequence[Message], Settled]] = []
        size = 0
        with self._changed:
            self._changed.wait_for(lambda: self._queue or self._give_up_at is not None)
            while self._queue and size < MOST_A_COMMIT:
                batch.append(self._queue.popleft())
                size += len(batch[-1][0])
        return batch

    def _commit(self, messages: Sequence[Message]) -> Outcome | None:
        """Commit, however often it takes; ``None`` where the inbox had to end before."""
        wait_s = self._retry_s
        while True:
            try:
                if self._committer is None:
                    self._committer = Committer(self._database, self._mappings)
                return self._committer.commit(messages)
            except UnavailableError as error:
                log.warning("cannot write, trying again in %.0f s: %s", wait_s, error.what)
                self._failing = error.what
            except Exception as error:
                log.exception("cannot write, trying again in %.0f s", wait_s)
                self._failing = f"{type(error).__name__}: {error}"
            if self._committer is not None:
                self._committer.close()
                self._committer = None  # a fresh connection, in case that one is broken
            if self._ended_during(wait_s):
                return None
            wait_s = min(2 * wait_s, MOST_RETRY_S)

    def _ended_during(self, wait_s: float) -> bool:
        """Wait; return whether the time is up for an inbox that is to end."""
        with self._changed:
            if self._give_up_at is None:
                self._changed.wait_for(lambda: self._give_up_at is not None, wait_s)
            else:
                left_s = self._give_up_at - time.monotonic()
                self._changed.wait_for(lambda: False, max(0.0, min(wait_s, left_s)))
            return self._give_up_at is not None and time.monotonic() >= self._give_up_at

    def _note(self, messages: Sequence[Message], outcome: Outcome) -> None:
        with self._changed:
            self._failing = None
            self._written += outcome.written
            self._quarantined += outcome.quarantined
            self._settled_messages += len(messages)
            self._queued -= len(messages)
            self._commits += 1
            self._last_commit_ms = self._clock_ms()

    def _tell(self, batch: list[tuple[Sequence[Message], Settled]], outcome: Outcome) -> None:
        start = 0
        for part, settled in batch:
            verdicts = outcome.verdicts[start : start + len(part)]
            start += len(part)
            try:
                settled(verdicts)
            except Exception:
                log.exception("a door failed to take its verdicts; the readings are stored")
        try:
            self._wrote()
        except Exception:
            log.exception("a commit could not be announced; the readings are stored")
