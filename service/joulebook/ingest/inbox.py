"""The one writer: takes messages from every door, commits them in groups, then reports.

What arrives while a commit is on its way to disk goes into the next one, so the groups grow with
the load by themselves. A door hears of a message only once it is on disk.
"""

import logging
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from joulebook.errors import UnavailableError
from joulebook.ingest.committer import Outcome, RenewedCommitter
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.storage.database import Database
from joulebook.storage.durations import Durations
from joulebook.storage.pulse import Pulse, worker_thread
from joulebook.storage.records import Written

log = logging.getLogger(__name__)

Settled = Callable[[Sequence[Verdict]], None]
Put = tuple[Sequence[Message], Settled, float]  # and when [s]

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
    reasons: Mapping[str, int]  # of what is quarantined
    commits: int
    queued: int  # messages waiting, those being written included
    waiting_s: float  # the one of them that has waited longest; 0 where none waits
    last_commit_ms: int | None
    commits_took: Durations  # with every attempt and the waits between them
    failing: str | None  # why commits fail now
    alive: bool
    silent_s: float  # since the writer, at work, last got a step further


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
    room, room_bytes : int
        How many messages, and bytes of them, may wait before :meth:`has_room` says no.
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
        room_bytes: int = 64 * 1024 * 1024,
        retry_s: float = 1.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._mappings = mappings
        self._wrote = wrote
        self._room = room
        self._room_bytes = room_bytes
        self._retry_s = retry_s
        self._queue: deque[Put] = deque()
        self._in_hand: list[Put] = []  # taken from the queue and not on disk yet
        self._pulse = Pulse()
        self._changed = threading.Condition()
        self._queued = self._queued_bytes = 0
        self._give_up_at: float | None = None  # set once the inbox is to end
        self._written = Written()
        self._settled_messages = self._quarantined = self._commits = 0
        self._reasons: Counter[str] = Counter()
        self._took = Durations()
        self._last_commit_ms: int | None = None
        self._failing: str | None = None
        self._thread = self._new_thread()

    @property
    def alive(self) -> bool:
        """Whether the writer thread runs."""
        return self._thread.is_alive()

    @property
    def silent_s(self) -> float:
        """How long the writer has been at work without a step; 0 while nothing waits. [s]"""
        return self._pulse.silent_s

    def start(self) -> None:
        """Start the writer thread."""
        self._thread.start()

    def restart(self) -> None:
        """Let another thread write after the last one died or got stuck.

        What that one had in hand is written first, perhaps for the second time, which changes
        nothing; its doors hear of it once. One that is stuck ends at its next step.
        """
        with self._changed:
            self._queue.extendleft(reversed(self._in_hand))
            self._in_hand = []
            self._pulse.rest()
            self._thread = self._new_thread()
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
        size = _size(messages)
        with self._changed:
            self._queue.append((messages, settled, time.monotonic()))
            self._queued += len(messages)
            self._queued_bytes += size
            self._changed.notify_all()

    def has_room(self) -> bool:
        """Return whether doors may go on reading."""
        return self._queued < self._room and self._queued_bytes < self._room_bytes

    def counts(self) -> InboxCounts:
        """Return the counts of now."""
        with self._changed:
            waits_since_s = [at_s for *_, at_s in (*self._in_hand[:1], *list(self._queue)[:1])]
            return InboxCounts(
                messages=self._settled_messages,
                new=self._written.new,
                repeated=self._written.repeated,
                replaced=self._written.replaced,
                quarantined=self._quarantined,
                reasons=dict(self._reasons),
                commits=self._commits,
                queued=self._queued,
                waiting_s=time.monotonic() - min(waits_since_s) if waits_since_s else 0.0,
                last_commit_ms=self._last_commit_ms,
                commits_took=self._took.copy(),
                failing=self._failing,
                alive=self.alive,
                silent_s=self.silent_s,
            )

    def _new_thread(self) -> threading.Thread:
        return worker_thread("inbox", self._run)

    def _relieved(self) -> bool:
        """Tell whether another thread has taken over from the one that asks."""
        return threading.current_thread() is not self._thread

    def _run(self) -> None:
        with RenewedCommitter(self._database, self._mappings) as writing:
            while batch := self._take():
                began_s = time.monotonic()
                messages = [message for part, *_ in batch for message in part]
                outcome = self._commit(writing, messages)
                if outcome is None or not self._note(messages, outcome, began_s):
                    return
                self._tell(batch, outcome)

    def _take(self) -> list[Put]:
        """Return what is queued, up to a transaction's worth; nothing once the inbox ends."""
        batch: list[Put] = []
        size = 0
        with self._changed:
            if self._relieved():
                return batch
            self._pulse.rest()
            self._changed.wait_for(lambda: self._queue or self._give_up_at is not None)
            while self._queue and size < MOST_A_COMMIT:
                batch.append(self._queue.popleft())
                size += len(batch[-1][0])
            self._in_hand = batch
            self._pulse.beat()
        return batch

    def _commit(self, writing: RenewedCommitter, messages: Sequence[Message]) -> Outcome | None:
        """Commit, however often it takes; ``None`` where this thread had to end before."""
        wait_s = self._retry_s
        while True:
            try:
                return writing.commit(messages)
            except UnavailableError as error:
                log.warning("cannot write, trying again in %.0f s: %s", wait_s, error.what)
                self._failing = error.what
            except Exception as error:
                log.exception("cannot write, trying again in %.0f s", wait_s)
                self._failing = f"{type(error).__name__}: {error}"
            if self._ended_during(wait_s):
                return None
            wait_s = min(2 * wait_s, MOST_RETRY_S)

    def _ended_during(self, wait_s: float) -> bool:
        """Wait; return whether this thread is to end, as the time is up or it is relieved."""
        with self._changed:
            if self._give_up_at is None:
                self._changed.wait_for(lambda: self._give_up_at is not None, wait_s)
            else:
                left_s = self._give_up_at - time.monotonic()
                self._changed.wait_for(lambda: False, max(0.0, min(wait_s, left_s)))
            if self._relieved():
                return True
            self._pulse.beat()
            if self._give_up_at is None or time.monotonic() < self._give_up_at:
                return False
        log.error("%d messages were not written in time; not acknowledged", self._queued)
        return True

    def _note(self, messages: Sequence[Message], outcome: Outcome, began_s: float) -> bool:
        """Count what is on disk; return whether it is this thread's to tell the doors."""
        now_ms = self._clock_ms()
        size = _size(messages)
        with self._changed:
            if self._relieved():
                return False
            self._last_commit_ms = now_ms
            self._failing = None
            self._written += outcome.written
            self._quarantined += outcome.quarantined
            self._reasons.update(outcome.reasons)
            self._settled_messages += len(messages)
            self._queued -= len(messages)
            self._queued_bytes -= size
            self._in_hand = []
            self._commits += 1
            self._took.note(time.monotonic() - began_s)
        return True

    def _tell(self, batch: list[Put], outcome: Outcome) -> None:
        start = 0
        for part, settled, _ in batch:
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


def _size(messages: Sequence[Message]) -> int:
    return sum(len(message.payload) for message in messages)
