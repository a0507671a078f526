"""One copy's part in a shared subscription: its own session, and sessions that were left behind.

Each start has a session of its own with a name that was never used. Which there are stands in the
database. One whose copy is gone, for now or for ever, gets an heir among the living, so that what
a dead copy had in hand is stored soon, whether it comes back or not.
"""

import logging
import secrets
import time
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from typing import TypeVar

from joulebook.errors import JoulebookError
from joulebook.ingest.mqtt.address import broker_address
from joulebook.ingest.mqtt.broker import OURS
from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.shared_clients import Heir, SharedClient, shared_filters
from joulebook.storage.broker_sessions import (
    BrokerSession,
    beat,
    claim,
    forget_session,
    leave_sessions,
    note_session,
    sessions_at,
)
from joulebook.storage.database import Connection, Database
from joulebook.storage.rounds import Rounds

AnyClient = TypeVar("AnyClient", bound=SharedClient)

log = logging.getLogger(__name__)

#: How often a copy says that it reads, and looks whether others do. [s]
ROUND_S = 2.0
#: A session whose copy has said nothing for so long was left. [s]
LEFT_S = 10.0
#: So many sessions are emptied at the same time.
MOST_HEIRS = 4


class SharedBroker:
    """Reads a share of what a broker has for all copies, and what others left behind.

    Parameters
    ----------
    inbox : Inbox
        Where messages go.
    database : Database
        Of all copies.
    url, topic_filters, clock_ms, settle_s
        As for `BrokerClient`.
    share : str
        The name of the group that all copies are in.
    now_s : callable
        Seconds of a clock that never goes back.

    Raises
    ------
    UsageError
        If the address, a filter or the group's name is none.
    """

    def __init__(
        self,
        inbox: Inbox,
        database: Database,
        *,
        url: str,
        share: str,
        topic_filters: Sequence[str] = (OURS,),
        clock_ms: Callable[[], int],
        settle_s: float = 10.0,
        round_s: float = ROUND_S,
        left_s: float = LEFT_S,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._database = database
        self._inbox = inbox
        self._url = url
        self._subscriptions = tuple(shared_filters(share, topic_filters))
        self._clock_ms = clock_ms
        self._settle_s = settle_s
        self._left_s = left_s
        self._now_s = now_s
        address = broker_address(url)
        self._broker = f"{address.host}:{address.port}"
        self._holder = secrets.token_hex(8)
        self._own = self._new_client()
        self._is_open = False
        self._heirs: dict[str, Heir] = {}
        self._seen: dict[BrokerSession, float] = {}  # since when, each just as it is [s]
        self._looked_s = now_s()
        self.rounds = Rounds(
            "broker sessions", self._round, every_s=round_s, failure="sessions cannot be looked at"
        )

    @property
    def connected(self) -> bool:
        """Whether the broker has let us in and taken our subscription."""
        return self._own.connected

    @property
    def alive(self) -> bool:
        """Whether the thread runs that looks after the sessions."""
        return self.rounds.alive

    @property
    def silent_s(self) -> float:
        """How long a look has gone on without a step. [s]"""
        return self.rounds.silent_s

    def restart(self) -> None:
        """Look after the sessions again after the thread died or got stuck."""
        self.rounds.restart()

    def start(self) -> None:
        """Open a session in the background, and look after it and those that were left."""
        self.rounds.start()

    def stop(self) -> None:
        """Take nothing more, acknowledge what is being stored, and leave the sessions to others."""
        self.rounds.stop()
        for client in (*self._heirs.values(), self._own):
            client.stop()
        # Where it cannot be said now, the others see for themselves.
        with suppress(JoulebookError), closing(self._database.connect()) as connection:
            leave_sessions(connection, self._holder)

    def _round(self) -> None:
        with closing(self._database.connect()) as connection:
            self._keep_own(connection)
            held = beat(connection, self._holder, (self._own.client_id, *self._heirs))
            if self._own.client_id not in held:
                log.warning("another copy took our session at %s: opening a new one", self._broker)
                self._own.abandon()
                self._own, self._is_open = self._new_client(), False
                self._keep_own(connection)
            for heir in list(self._heirs.values()):
                self._look_after(connection, heir, is_ours=heir.client_id in held)
            for session in self._left(sessions_at(connection, self._broker)):
                self._inherit(connection, session)

    def _keep_own(self, connection: Connection) -> None:
        """Open our session, or the thread that reads it, where it is not."""
        if not self._is_open:
            # Noted first: what is open and in no list would never be emptied.
            note_session(
                connection,
                BrokerSession(
                    client_id=self._own.client_id,
                    broker=self._broker,
                    subscriptions=self._subscriptions,
                    holder=self._holder,
                ),
            )
            self._is_open = True
            self._own.start()
        elif not self._own.alive:
            self._own.restart()

    def _left(self, sessions: Sequence[BrokerSession]) -> list[BrokerSession]:
        """Return the sessions that nobody reads, as far as we can tell."""
        now_s = self._now_s()
        # Who was away himself has not seen whether others were.
        was_away = now_s - self._looked_s > self._left_s / 2
        before = {} if was_away else self._seen
        self._looked_s = now_s
        self._seen = {}
        left = []
        for session in sessions:
            since_s = before.get(session, now_s)
            self._seen[session] = since_s
            ours = session.client_id == self._own.client_id or session.client_id in self._heirs
            if not ours and (not session.holder or now_s - since_s >= self._left_s):
                left.append(session)
        return left

    def _inherit(self, connection: Connection, session: BrokerSession) -> None:
        """Take over a session that was left, where what is new goes to one of our own."""
        if not self._own.connected or len(self._heirs) >= MOST_HEIRS:
            return
        if claim(connection, session, self._holder):
            log.warning(
                "emptying %s, a session that was left at %s", session.client_id, self._broker
            )
            heir = self._client(Heir, session.client_id, session.subscriptions)
            self._heirs[session.client_id] = heir
            heir.start()

    def _look_after(self, connection: Connection, heir: Heir, *, is_ours: bool) -> None:
        if heir.emptied and is_ours:
            heir.end()
            forget_session(connection, heir.client_id, self._holder)
            log.info("%s is empty and has ended", heir.client_id)
        elif not (is_ours and heir.alive):
            heir.abandon()  # another copy empties it, or will find that nobody does
        else:
            heir.look()
            return
        del self._heirs[heir.client_id]

    def _new_client(self) -> SharedClient:
        return self._client(SharedClient, f"joulebook-{secrets.token_hex(8)}", self._subscriptions)

    def _client(
        self, kind: type[AnyClient], client_id: str, subscriptions: Sequence[str]
    ) -> AnyClient:
        return kind(
            self._inbox,
            url=self._url,
            topic_filters=subscriptions,
            client_id=client_id,
            clock_ms=self._clock_ms,
            settle_s=self._settle_s,
        )
