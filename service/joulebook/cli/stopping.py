"""The end of the service: in order, and by force where that takes too long or somebody insists."""

import logging
import threading
from collections.abc import Callable

from joulebook.ingest.inbox import InboxCounts

_log = logging.getLogger(__name__)

#: How long doors may take to answer what is under way, and the writer to write it. [s]
SETTLE_S = 25.0
#: How long all of it may take. [s]
STOP_S = 45.0
#: A stop that left something behind: worth another start.
LEFT_STATUS = 3


class Stopping:
    """Asks the service to stop, and leaves without it after the deadline or a second request.

    Leaving by force loses nothing that was acknowledged: that is on disk.

    Parameters
    ----------
    stop : callable
        Asks the service to stop, from any thread.
    left : callable
        Says what would be left behind now.
    leave : callable
        Ends the process at once with a status.
    """

    def __init__(
        self,
        stop: Callable[[], object],
        *,
        left: Callable[[], str],
        deadline_s: float,
        leave: Callable[[int], object],
    ) -> None:
        self._stop = stop
        self._left = left
        self._leave = leave
        self._deadline_s = deadline_s
        # A thread's own timer: it also ends a process whose event loop is stuck.
        self._timer = threading.Timer(deadline_s, self._too_late)
        self._timer.daemon = True
        self._asked = False

    def ask(self) -> None:
        """Stop in order; asked for a second time, leave at once. From any thread."""
        if self._asked:
            self._leave_behind("told to stop a second time")
            return
        self._asked = True
        self._timer.start()
        self._stop()

    def done(self) -> None:
        """Say that all has ended in order."""
        self._timer.cancel()

    def _too_late(self) -> None:
        self._leave_behind(f"not done after {self._deadline_s:g} s")

    def _leave_behind(self, why: str) -> None:
        _log.error("%s, leaving at once: %s", why, self._left())
        self._leave(LEFT_STATUS)


def left_sentence(counts: InboxCounts) -> str:
    """Say what of the messages that came is not on disk."""
    if not counts.queued:
        return "every message that came in is stored and acknowledged"
    messages = f"{counts.queued} message{'' if counts.queued == 1 else 's'}"
    why = f" ({counts.failing})" if counts.failing else ""
    return (
        f"{messages} not stored{why} and not acknowledged: "
        "bridges and brokers keep such messages and send them again"
    )
