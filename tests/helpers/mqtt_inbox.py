"""An inbox that remembers messages instead of storing them, and settles when it is told to."""

import queue
import threading
import time
from collections.abc import Callable, Sequence

from joulebook.ingest.message import Message, Verdict

#: How long a test waits for what should come at once, on a machine that is busy. [s]
WAIT_S = 60.0


def wait_until(condition: Callable[[], bool], timeout_s: float = WAIT_S) -> None:
    """Return as soon as ``condition`` holds; fail when it does not in time."""
    end_s = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end_s, "waited in vain"
        time.sleep(0.002)


def numbered(count: int, first: int = 0) -> list[bytes]:
    """Return payloads that count from ``first``."""
    return [b"[%d]" % n for n in range(first, first + count)]


class RecordingInbox:
    """Settles from a thread of its own, as the real one does.

    Attributes
    ----------
    messages : list of Message
        What has been "stored", in order.
    """

    def __init__(self, verdict_of: Callable[[Message], Verdict] | None = None) -> None:
        self.messages: list[Message] = []
        self.room = True
        self.asked = 0  # how often for room
        self.putting: Exception | None = None  # raised by `put`
        self._verdict_of = verdict_of or (lambda _message: Verdict.STORED)
        self._open = threading.Event()
        self._open.set()
        self._queue: queue.SimpleQueue[
            tuple[Sequence[Message], Callable[[Sequence[Verdict]], None]] | None
        ] = queue.SimpleQueue()
        self.taken = 0  # messages put, settled or not
        self.batches: list[int] = []
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    def put(
        self, messages: Sequence[Message], settled: Callable[[Sequence[Verdict]], None]
    ) -> None:
        if self.putting is not None:
            raise self.putting
        self.taken += len(messages)
        self.batches.append(len(messages))
        self._queue.put((messages, settled))

    def has_room(self) -> bool:
        self.asked += 1
        return self.room

    def hold(self) -> None:
        """Settle nothing until :meth:`release`."""
        self._open.clear()

    def release(self) -> None:
        self._open.set()

    def stop(self) -> None:
        self._open.set()
        self._queue.put(None)
        self._thread.join()

    def payloads(self) -> list[bytes]:
        return [message.payload for message in self.messages]

    def _write(self) -> None:
        while (item := self._queue.get()) is not None:
            self._open.wait()
            messages, settled = item
            self.messages += messages
            settled([self._verdict_of(message) for message in messages])
