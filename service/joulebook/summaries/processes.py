"""Stretches computed in this process and in a second one, whichever is free.

A day is a thousand small sums, all under Python's lock: a second thread gains nothing, a second
process nearly doubles the speed (``docs/decisions/0008-two-processes.md``).
"""

import logging
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import Pipe
from queue import SimpleQueue

from joulebook.storage.database import Database
from joulebook.summaries.stretches import Results, Stretch

_log = logging.getLogger(__name__)

#: Fewer are computed before a second process has imported what it needs. [days]
WORTH_DAYS = 60
#: How long it may take to end by itself. [s]
GRACE_S = 5.0


class HelperLostError(Exception):
    """The second process ended, or never began."""


class Helper:
    """A second process. One thread asks it at a time.

    Attributes
    ----------
    pid : int
        Of the process.
    """

    def __init__(self, database: Database) -> None:
        self._pipe, theirs = Pipe()
        with theirs:
            # Not spawned by multiprocessing: that would import the caller's main module, the
            # whole command line, anew. A group of its own, for Ctrl-C is answered by us; -P, for
            # what lies in the current directory is no module of ours.
            self._process = subprocess.Popen(
                [
                    *(sys.executable, "-P", "-m", "joulebook.summaries.worker"),
                    *(str(theirs.fileno()), str(database.data_dir)),
                ],
                stdin=subprocess.DEVNULL,
                env={**os.environ, **database.environment},
                pass_fds=[theirs.fileno()],
                process_group=0,
            )
        self.pid = self._process.pid

    def compute(self, stretch: Stretch) -> Results:
        """Have a stretch computed.

        Raises
        ------
        HelperLostError
            If the process is no more.
        """
        try:
            self._pipe.send(stretch)
            results: Results = self._pipe.recv()
        except (EOFError, OSError) as error:
            raise HelperLostError from error
        return results

    def close(self) -> None:
        """End the process: by itself after its stretch, or by force if that takes too long."""
        self._pipe.close()
        try:
            self._process.wait(GRACE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


@contextmanager
def with_helper(
    database: Database,
    compute: Callable[[Stretch], Results],
    *,
    start: Callable[[Database], Helper] = Helper,
) -> Iterator[Callable[[Stretch], Results]]:
    """Give a function for two threads: one computes here, the other in a second process.

    A second process that is killed costs the time it had spent: its stretch, and all after it,
    are computed here.

    Parameters
    ----------
    database : Database
        What both processes read.
    compute : callable
        Computes a stretch in this process.
    start : callable
        Starts the second process.
    """
    try:
        helper = start(database)
    except OSError as error:
        _log.warning("no second process computes days (%s): it takes twice as long", error)
        yield compute
        return
    # Ours comes first: the other one imports what it needs meanwhile.
    free: SimpleQueue[Callable[[Stretch], Results]] = SimpleQueue()
    free.put(compute)
    free.put(helper.compute)

    def whichever(stretch: Stretch) -> Results:
        chosen = free.get()
        try:
            return chosen(stretch)
        except HelperLostError:
            _log.warning("the second process that computed days ended: it takes twice as long")
            chosen = compute
            return compute(stretch)
        finally:
            free.put(chosen)

    try:
        yield whichever
    finally:
        helper.close()
