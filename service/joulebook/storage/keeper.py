"""Removes old readings once a day, in a thread of its own, where the owner wants that."""

import logging
from collections.abc import Callable
from contextlib import closing

from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from joulebook.storage.retention import remove_old
from joulebook.storage.rounds import InRounds, Rounds

_log = logging.getLogger(__name__)


class Keeper(InRounds):
    """Keeps readings for some years and no longer; safe to stop, kill and start anywhere.

    Parameters
    ----------
    database : Database
        Where the readings are.
    clock_ms : callable
        Now. [ms, UTC epoch]
    keep_years : int
        1 or more.
    every_s : float
        How often it looks. [s]
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        keep_years: int,
        every_s: float = 86_400.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._keep_years = keep_years
        self._rounds = Rounds(
            "keeper", self._keep, every_s=every_s, failure="old readings are not removed yet"
        )

    def _keep(self) -> None:
        with closing(self._database.connect()) as connection:
            for site in sites(self._database):
                removed = remove_old(
                    connection, site, now_ms=self._clock_ms(), keep_years=self._keep_years
                )
                if removed.rows:
                    _log.info("removed %d rows of site %s", removed.rows, site.name)
                if removed.waits_for:
                    _log.info("old readings of site %s wait for %s", site.name, removed.waits_for)
