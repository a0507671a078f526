"""Looks at every site, opens and closes alerts, and tells the owner, in a thread of its own."""

import logging
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

from joulebook.core.curves import MAX_GAP_S
from joulebook.reminders.deciding import decide
from joulebook.reminders.letter import letter_documents, weekly_letter
from joulebook.reminders.looking_back import seen_back
from joulebook.reminders.looking_now import seen_now
from joulebook.reminders.quiet import letter_due
from joulebook.reminders.sending import Send, by_apprise, send_due
from joulebook.storage.alert_settings import alert_settings, channels_of
from joulebook.storage.alerts import watches_of
from joulebook.storage.catalogue import sites
from joulebook.storage.connections import transaction, turn
from joulebook.storage.database import Connection, Database
from joulebook.storage.deliveries import Told, letters_of, note_cut_short, put_delivery
from joulebook.storage.record_results import (
    record_mark,
    result_stamp,
    results_named,
    save_record_result,
)
from joulebook.storage.records import Site
from joulebook.storage.rounds import InRounds, Rounds

_log = logging.getLogger(__name__)

#: What takes longer to look at is looked at this often. [ms]
BACK_EVERY_MS = 3_600_000
#: And no longer than this in one round: of thousands of sites some wait for the next one. [s]
BACK_SHARE_S = 10.0
#: Under which it is stored when a site was looked back at: services on one server divide them.
LOOKED_NAME, LOOKED_METHOD = "looked-back", "looked-back-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class WatcherCounts:
    """How reminders do, since the start; ``failing`` says why the last round failed."""

    alive: bool
    rounds: int
    opened: int
    closed: int
    told: int
    failing: tuple[str, ...]


class Watcher(InRounds):
    """Watches over all sites of a database.

    Parameters
    ----------
    database : Database
    clock_ms : callable
        Now. [ms, UTC epoch]
    address : str
        Of the pages, as somebody outside writes it; empty where nobody does.
    max_gap_s : float
        No line between readings bridges more. [s]
    send : callable or None
        Sends messages; ``None`` tells nobody, as in the demonstration.
    every_s : float
        How often it looks. [s]
    """

    def __init__(
        self,
        database: Database,
        *,
        clock_ms: Callable[[], int],
        address: str = "",
        max_gap_s: float = MAX_GAP_S,
        send: Send | None = by_apprise,
        every_s: float = 60.0,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._address = address.rstrip("/")
        self._max_gap_s = max_gap_s
        self._send = send
        self._looked_ms: dict[int, int] = {}  # as it was when the round began
        self._back_s = 0.0  # in the round that is under way
        self._began = False
        self._opened = self._closed = self._told = 0
        self._rounds = Rounds(
            "reminders", self._round, every_s=every_s, failure="nobody can be reminded"
        )

    def counts(self) -> WatcherCounts:
        """Say how reminders do."""
        return WatcherCounts(
            alive=self._rounds.alive,
            rounds=self._rounds.runs,
            opened=self._opened,
            closed=self._closed,
            told=self._told,
            failing=self._rounds.failing,
        )

    def _round(self) -> None:
        failed: Exception | None = None
        self._back_s = 0.0
        with closing(self._database.connect()) as connection:
            if not self._began:
                cut_short = note_cut_short(connection)
                if cut_short:
                    _log.warning("%d messages were being sent when the service ended", cut_short)
                self._began = True
            looked = results_named(connection, LOOKED_NAME)
            self._looked_ms = {site_id: each.computed_ms for site_id, each in looked.items()}
            for site in self._longest_ago_first(sites(self._database)):
                if not self._rounds.pause(0):
                    return
                try:
                    # Of two services on one server, the other may be at it: told is told once.
                    with turn(connection, "reminders", site.id) as is_ours:
                        if is_ours:
                            self._look(connection, site)
                except Exception as error:  # noqa: BLE001 -- costs this site's look, not the others'
                    _log.warning("site %s could not be looked at for alerts", site.name)
                    failed = error
            if self._send is not None:
                self._told += send_due(connection, self._send, now_ms=self._clock_ms())
        if failed is not None:
            raise failed

    def _longest_ago_first(self, there: list[Site]) -> list[Site]:
        return sorted(there, key=lambda site: self._looked_ms.get(site.id, 0))

    def _look(self, connection: Connection, site: Site) -> None:
        now_ms = self._clock_ms()
        seen = list(seen_now(connection, site, now_ms=now_ms))
        looks_back = self._back_s < BACK_SHARE_S and self._is_time(connection, site, now_ms)
        if looks_back:
            began_s = time.perf_counter()
            watches = watches_of(connection, site.id)
            seen += seen_back(self._database, connection, site, watches, now_ms=now_ms)
            self._back_s += time.perf_counter() - began_s
        for happened in decide(connection, site, seen, now_ms=now_ms, address=self._address):
            self._opened += happened.change == "opened"
            self._closed += happened.change == "closed"
        if looks_back:
            note_looked(connection, site, now_ms=now_ms)
        self._write_letter(connection, site, now_ms)

    def _is_time(self, connection: Connection, site: Site, now_ms: int) -> bool:
        if not _is_long_ago(self._looked_ms.get(site.id), now_ms):
            return False
        # Another service may have looked since the round began.
        last = result_stamp(connection, site.id, LOOKED_NAME)
        return _is_long_ago(None if last is None else last.computed_ms, now_ms)

    def _write_letter(self, connection: Connection, site: Site, now_ms: int) -> None:
        week = letter_due(alert_settings(connection, site.id), site.zone, now_ms)
        channels = channels_of(connection, site.id)
        if week is None or not channels or week in letters_of(connection, site.id):
            return
        documents = letter_documents(self._database, site, now_ms=now_ms, max_gap_s=self._max_gap_s)
        letter = weekly_letter(
            self._database, site, documents, now_ms=now_ms, address=self._address
        )
        told = Told(about=f"letter {week}", title=letter.title, body=letter.text, html=letter.html)
        with transaction(connection):
            for channel in channels:
                put_delivery(connection, channel.id, told, now_ms=now_ms, not_before_ms=now_ms)


def note_looked(connection: Connection, site: Site, *, now_ms: int) -> None:
    """Note that a site was looked back at."""
    save_record_result(
        *(connection, site.id, LOOKED_NAME, LOOKED_METHOD, b""),
        mark=record_mark(connection, site.id),
        computed_ms=now_ms,
    )


def _is_long_ago(last_ms: int | None, now_ms: int) -> bool:
    return last_ms is None or not 0 <= now_ms - last_ms < BACK_EVERY_MS
