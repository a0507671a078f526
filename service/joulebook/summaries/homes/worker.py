"""Keeps the homes' lines up to date, in a thread of its own."""

from collections.abc import Callable
from contextlib import closing
from functools import partial

from joulebook.storage.database import Database
from joulebook.storage.rounds import InRounds, Rounds
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told

#: Homes are compared with each other so often, if any of their numbers changed: peers of
#: thousands change with each of them, and none of it by the hour. [ms]
COMPARE_EVERY_MS = 3_600_000


class HomeLines(InRounds):
    """Looks at all homes again and again.

    Parameters
    ----------
    database : Database
    clock_ms : callable
        Now. [ms, UTC epoch]
    every_s : float
        How often it looks. [s]
    """

    def __init__(
        self, database: Database, *, clock_ms: Callable[[], int], every_s: float = 60.0
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._compared_ms: int | None = None
        self._uncompared = True  # after a start nobody knows what changed before
        self._rounds = Rounds(
            "home lines", self._round, every_s=every_s, failure="homes cannot be put in order"
        )

    def _round(self) -> None:
        go_on = partial(self._rounds.pause, 0)
        now_ms = self._clock_ms()
        with closing(self._database.connect()) as connection:
            changed = update_numbers(self._database, connection, now_ms=now_ms, go_on=go_on)
            self._uncompared |= changed > 0
            if self._uncompared and self._is_time(now_ms) and go_on():
                update_peers(connection, go_on=go_on)
                self._compared_ms, self._uncompared = now_ms, False
            update_told(connection, now_ms=now_ms, go_on=go_on)

    def _is_time(self, now_ms: int) -> bool:
        last_ms = self._compared_ms
        return last_ms is None or not 0 <= now_ms - last_ms < COMPARE_EVERY_MS
