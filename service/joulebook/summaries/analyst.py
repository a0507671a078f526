"""Keeps the analysis of each site's whole record up with its readings, in a process of its own."""

import logging
import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

from joulebook.core.curves import MAX_GAP_S
from joulebook.errors import UnavailableError
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database, turn
from joulebook.storage.records import Site
from joulebook.storage.rounds import InRounds, Rounds
from joulebook.summaries.records_due import Due, is_still_due, records_due
from joulebook.summaries.threads import ONE_THREAD

_log = logging.getLogger(__name__)

_POLL_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalystCounts:
    """How the analysis does.

    Attributes
    ----------
    alive : bool
        Whether the thread runs.
    rounds : int
        Times it has looked, since the start.
    records_analysed : int
        Since the start.
    failing : tuple of str
        A sentence for a person: why a record cannot be analysed now. Empty when all is well.
    """

    alive: bool
    rounds: int
    records_analysed: int
    failing: tuple[str, ...]


class Analyst(InRounds):
    """Analyses records that are behind: soon after the owner enters something, else every hours.

    Parameters
    ----------
    database : Database
        Where readings and results are.
    clock_ms : callable
        Now. [ms, UTC epoch]
    max_gap_s : float
        No line between readings of other devices bridges more. [s]
    every_s : float
        How often it looks. [s]
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        max_gap_s: float = MAX_GAP_S,
        every_s: float = 60.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._max_gap_s = max_gap_s
        self._analysed = 0
        self._rounds = Rounds(
            "analyst", self._round, every_s=every_s, failure="a record cannot be analysed"
        )

    def counts(self) -> AnalystCounts:
        """Say how the analysis does."""
        return AnalystCounts(
            alive=self._rounds.alive,
            rounds=self._rounds.runs,
            records_analysed=self._analysed,
            failing=self._rounds.failing,
        )

    def _round(self) -> None:
        failed: UnavailableError | None = None
        with closing(self._database.connect()) as connection:
            due = records_due(connection, sites(self._database), now_ms=self._clock_ms())
        for each in due:
            if self._rounds.stopping:
                return
            try:
                self._look(each)
            except UnavailableError as error:
                failed = error  # costs this site's analysis, and not the others'
        if failed is not None:
            raise failed

    def _look(self, due: Due) -> None:
        with (
            closing(self._database.connect()) as connection,
            # Of two services on one server, the other may be at it already, or have been.
            turn(connection, "record", due.site.id) as is_ours,
        ):
            if is_ours and is_still_due(connection, due):
                self._analyse(due.site)

    def _analyse(self, site: Site) -> None:
        process = subprocess.Popen(
            [
                *(sys.executable, "-P", "-m", "joulebook.summaries.record_worker"),
                *(str(self._database.data_dir), site.name, str(self._max_gap_s)),
            ],
            stdin=subprocess.DEVNULL,
            env={**os.environ, **ONE_THREAD, **self._database.environment},
            process_group=0,
        )
        while process.poll() is None:
            if not self._rounds.pause(_POLL_S):
                process.kill()
                process.wait()
                return
        if process.returncode == UnavailableError.exit_status:
            raise UnavailableError(
                f"the analysis of site {site.name} could not use the database; it is tried again",
                where=self._database.where,
                expected="a database that can be read and written",
                next_step="see the log above for what is away",
            )
        if process.returncode != 0:
            raise UnavailableError(
                f"the analysis of site {site.name} ended with status {process.returncode}",
                where="joulebook.summaries.record_worker",
                expected="status 0",
                next_step="see the log above, and report it",
            )
        self._analysed += 1
        _log.info("the record of site %s is analysed", site.name)
