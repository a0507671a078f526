"""Clocks that kill or hold the thread that asks them, as a bug or a dead disk would.

Every worker asks for the time in its own thread, so that is where a fault can get in without a
hook made for tests.
"""

import threading
from collections.abc import Callable

from tests.helpers.mqtt_inbox import WAIT_S


class FailingClock:
    """A clock that stands still, and does to one thread what it is told.

    Attributes
    ----------
    reached : threading.Event
        Set once a thread was killed or is held.
    """

    def __init__(self, now_ms: int) -> None:
        self.now_ms = now_ms
        self.reached = threading.Event()
        self._let_go = threading.Event()
        self._victims: dict[str, Callable[[], None]] = {}
        self._doomed: set[str] = set()

    def kill_next(self, thread: str) -> None:
        """End the thread of this name when it asks next; its name may be the beginning of it."""
        self.reached.clear()
        self._victims[thread] = self._kill

    def kill_each(self, thread: str) -> None:
        """End every thread of this name when it asks, those too that take over from it."""
        self._doomed.add(thread)

    def hold_next(self, thread: str) -> None:
        """Hold the thread of this name when it asks next, until `let_go`."""
        self.reached.clear()
        self._let_go.clear()
        self._victims[thread] = self._hold

    def let_go(self) -> None:
        """Let a thread that is held go on."""
        self._let_go.set()

    def __call__(self) -> int:
        if threading.current_thread().name in self._doomed:
            self._kill()
        for name in list(self._victims):
            if threading.current_thread().name.startswith(name):
                self._victims.pop(name)()
        return self.now_ms

    def _kill(self) -> None:
        self.reached.set()
        # Passes through every "except Exception".
        raise SystemExit

    def _hold(self) -> None:
        self.reached.set()
        assert self._let_go.wait(WAIT_S)
