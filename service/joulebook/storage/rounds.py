"""A thread that does its round, then waits for its time or for a nudge."""

import logging
import threading
from collections.abc import Callable

from joulebook.errors import JoulebookError
from joulebook.storage.pulse import Pulse, worker_thread

_log = logging.getLogger(__name__)


class InRounds:
    """A worker that does its work in rounds: how to start, stop, nudge and watch it.

    A round is safe to be ended between its transactions; what is left is for the next one.
    """

    _rounds: "Rounds"

    @property
    def rounds(self) -> "Rounds":
        """The thread, for those who watch over it."""
        return self._rounds

    def start(self) -> None:
        """Start the thread; it begins with a round."""
        self._rounds.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """End after what is under way."""
        self._rounds.stop(timeout_s)

    def nudge(self) -> None:
        """Look now, and not only at the next turn. From any thread."""
        self._rounds.nudge()


class Rounds:
    """Does one thing again and again beside everything else; what fails is told and tried again.

    Parameters
    ----------
    name : str
        Of the thread.
    one_round : callable
        Does what is to be done now. It asks `stopping` between its transactions.
    every_s : float
        How long it waits after a round that nobody nudges. [s]
    failure : str
        How a sentence begins that says why a round failed, such as ``nothing can be sealed``.
    """

    def __init__(
        self, name: str, one_round: Callable[[], object], *, every_s: float, failure: str
    ) -> None:
        self._name = name
        self._one_round = one_round
        self._every_s = every_s
        self._failure = failure
        self._changed = threading.Condition()
        self._nudged = False
        self._stopping = False
        self._thread: threading.Thread | None = None
        self._pulse = Pulse()
        self._runs = 0
        self._failing: str | None = None

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def silent_s(self) -> float:
        """How long a round has gone on without a step; 0 between rounds. [s]"""
        return self._pulse.silent_s

    @property
    def runs(self) -> int:
        """Rounds since the start, failed ones too."""
        return self._runs

    @property
    def failing(self) -> tuple[str, ...]:
        """A sentence that says why the last round failed; empty where it did not."""
        return (self._failing,) if self._failing else ()

    @property
    def stopping(self) -> bool:
        """Whether the round that asks is to end soon: at the end, or since another took over."""
        return self._stopping or threading.current_thread() is not self._thread

    def start(self) -> None:
        """Start the thread; it begins with a round."""
        self._stopping = False
        self.restart()

    def restart(self) -> None:
        """Start another thread after the last one died or got stuck.

        One that is stuck ends at its next step, should it ever get there.
        """
        self._pulse.rest()
        self._thread = worker_thread(self._name, self._run)
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """End after the transaction under way; what is left is for the next start."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def nudge(self) -> None:
        """Do the next round now, and not only at its time. May be called from any thread."""
        with self._changed:
            self._nudged = True
            self._changed.notify_all()

    def pause(self, wait_s: float) -> bool:
        """Wait within a round; return whether it should go on."""
        with self._changed:
            self._changed.wait_for(lambda: self._stopping, wait_s)
        if self.stopping:
            return False
        self._pulse.beat()
        return True

    def _run(self) -> None:
        while not self.stopping:
            self._nudged = False
            self._pulse.beat()
            try:
                self._one_round()
                self._failing = None
            except JoulebookError as error:
                _log.warning("%s: %s", self._failure, error.what)
                self._failing = f"{self._failure}: {error.what}"
            except Exception as error:  # noqa: BLE001 -- told in health; the thread goes on
                _log.exception("%s", self._failure)
                self._failing = f"{self._failure}: {type(error).__name__}: {error}"
            if self.stopping:
                return
            with self._changed:
                self._runs += 1
                self._pulse.rest()
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._nudged or self._stopping, self._every_s)
