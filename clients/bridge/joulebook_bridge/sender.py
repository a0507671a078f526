"""Deliver what the spool holds, for as long as the bridge runs."""

import logging
import threading
import time
from collections.abc import Callable

from joulebook_bridge.configuration import Service
from joulebook_bridge.deliver import topic_of
from joulebook_bridge.errors import BridgeError, WrongError
from joulebook_bridge.modbus.backoff import Backoff
from joulebook_bridge.pack import pack_rows
from joulebook_bridge.session import Session
from joulebook_bridge.spool.outbox import Parcel
from joulebook_bridge.spool.spool import Spool

_LOG = logging.getLogger(__name__)
_TIMEOUT_S = 20.0
_MOST_ON_THEIR_WAY = 16  # messages; what is read just now never waits for more than these
_MOST_WAITING_ON_THEIR_WAY = 4  # of them, from what waited on disk
_LOOK_S = 0.1
_REMIND_S = 3600.0
_LONGEST_AWAY_S = 30.0


class Sender:
    """Keeps one connection, and sends through it what the spool hands out."""

    def __init__(
        self, service: Service, spool: Spool, *, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._service = service
        self._spool = spool
        self._monotonic_s = monotonic_s
        self._backoff = Backoff(first_s=0.5, longest_s=_LONGEST_AWAY_S)
        self._on_their_way: dict[int, tuple[Parcel, float]] = {}
        self._said = ""
        self._said_at_s = 0.0
        self.is_connected = False

    def run(self, stop: threading.Event) -> None:
        """Deliver until told to stop."""
        while not stop.is_set():
            try:
                self._deliver(stop)
            except BridgeError as error:
                self._complain(error)
                stop.wait(self._backoff.failed())

    @property
    def is_idle(self) -> bool:
        """Whether nothing is on its way."""
        return not self._on_their_way

    def _deliver(self, stop: threading.Event) -> None:
        session = Session(
            self._service.server,
            self._service.credentials,
            timeout_s=_TIMEOUT_S,
            client_id=f"joulebook-bridge-{self._service.credentials.name}",
        )
        session.connect()
        self.is_connected = True
        if self._said:
            _LOG.warning("the service takes readings again")
            self._said = ""
        else:
            _LOG.info("connected to %s", self._service.server)
        try:
            while not stop.is_set():
                self._send(session)
                self._receive(session)
        finally:
            self.is_connected = False
            parcels = [parcel for parcel, _ in self._on_their_way.values()]
            self._on_their_way.clear()
            self._spool.give_back(parcels)
            session.close()

    def _send(self, session: Session) -> None:
        while len(self._on_their_way) < _MOST_ON_THEIR_WAY:
            waiting = sum(not parcel.live for parcel, _ in self._on_their_way.values())
            parcel = self._spool.next(live_only=waiting >= _MOST_WAITING_ON_THEIR_WAY)
            if parcel is None:
                return
            topic = topic_of(self._service.site, parcel.shape.device)
            number = session.publish(topic, pack_rows(parcel.shape.columns, parcel.rows))
            self._on_their_way[number] = parcel, self._monotonic_s()

    def _receive(self, session: Session) -> None:
        for number, reason in session.answers(_LOOK_S):
            parcel, _ = self._on_their_way.pop(number)
            if reason.is_failure:
                self._spool.give_back([parcel])
                topic = topic_of(self._service.site, parcel.shape.device)
                raise session.message_refused(reason, topic)
            self._backoff.succeeded()
            self._spool.acknowledge(parcel)
        oldest_s = min((sent_s for _, sent_s in self._on_their_way.values()), default=None)
        if oldest_s is not None and self._monotonic_s() - oldest_s > _TIMEOUT_S:
            raise session.silent("the message")

    def _complain(self, error: BridgeError) -> None:
        now_s = self._monotonic_s()
        if error.what == self._said and now_s - self._said_at_s < _REMIND_S:
            return
        self._said, self._said_at_s = error.what, now_s
        level = logging.ERROR if isinstance(error, WrongError) else logging.WARNING
        _LOG.log(
            level,
            "readings wait on disk, since %s (%s). Next: %s",
            *(error.what, error.where, error.next_step),
        )
