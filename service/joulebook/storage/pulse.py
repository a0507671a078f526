"""Whether a worker still gets on: its thread says so at each step, and a watchdog asks."""

import logging
import threading
import time
from collections.abc import Callable

_log = logging.getLogger(__name__)


def worker_thread(name: str, run: Callable[[], object]) -> threading.Thread:
    """Return a thread for a worker; what kills it stands in the log, and kills nothing else."""

    def with_last_words() -> None:
        try:
            run()
        except BaseException:  # noqa: BLE001 -- told; a watchdog starts another thread
            _log.exception("the %s has died", name)

    return threading.Thread(target=with_last_words, name=name, daemon=True)


class Pulse:
    """When a worker last got a step further. One thread beats, any thread asks.

    Parameters
    ----------
    now_s : callable
        Seconds of a clock that never goes back.
    """

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._beat_s: float | None = None

    def beat(self) -> None:
        """Say that work goes on."""
        self._beat_s = self._now_s()

    def rest(self) -> None:
        """Say that there is nothing to do: from here on silence means nothing."""
        self._beat_s = None

    @property
    def silent_s(self) -> float:
        """How long work has been going on without a step; 0 while there is none. [s]"""
        beat_s = self._beat_s
        return 0.0 if beat_s is None else self._now_s() - beat_s
