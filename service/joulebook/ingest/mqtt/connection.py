"""One client's connection: moves bytes between its socket and its session, and keeps the pace."""

import asyncio
import logging
import secrets
import socket
import ssl
from collections.abc import Sequence
from functools import partial
from typing import Any, cast

from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.mqtt.fence import fenced
from joulebook.ingest.mqtt.handshake import Login
from joulebook.ingest.mqtt.pacing import Flow, weight
from joulebook.ingest.mqtt.packets import Publish
from joulebook.ingest.mqtt.reading import Reading
from joulebook.ingest.mqtt.reasons import Reason
from joulebook.ingest.mqtt.roster import Roster
from joulebook.ingest.mqtt.session import ServerSession
from joulebook.ingest.mqtt.sockets import set_options
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)

# How long a client may take to read our last words. [s]
_CLOSE_S = 5.0


class Connection(asyncio.BufferedProtocol):
    """A client's connection.

    All that arrives at once is one batch for the inbox; all answers to a batch leave in one write.
    While there is no room, or the client is faster than it may be, the socket is not read.

    Parameters
    ----------
    roster : Roster
        The inbox, clock and limits, and the other connections.
    address, port : str and int
        Where the client is.
    """

    _transport: asyncio.Transport  # once it is made
    _grant: Grant  # from the moment the client is let in
    _timer: asyncio.TimerHandle  # from `open` on, as what calls connection_made
    _opening: asyncio.Task[None]

    def __init__(self, roster: Roster, address: str, port: int) -> None:
        self.address = address
        self.peer = f"{address} port {port}"
        self._roster = roster
        self._loop = asyncio.get_running_loop()
        self._session = ServerSession(
            roster.limits.session, new_client_id=secrets.token_hex(8), now_s=self._loop.time()
        )
        self._flow = Flow(roster.limits, roster.share)
        self._arrived_ms = 0
        self._made = False
        self._admitted = False
        self._reading = Reading(roster, self, self._flow)
        self._unfinished = 0

    def open(self, sock: socket.socket, tls: ssl.SSLContext | None) -> None:
        """Take over an accepted socket; the handshake of TLS comes first."""
        self._timer = self._loop.call_later(self._roster.limits.login_s, self._login_is_late)
        self._opening = self._loop.create_task(self._open(sock, tls))
        self._opening.add_done_callback(partial(self._opened, sock))

    async def _open(self, sock: socket.socket, tls: ssl.SSLContext | None) -> None:
        set_options(sock)
        try:
            await self._loop.connect_accepted_socket(lambda: self, sock, ssl=tls)
        except OSError as error:  # those of TLS are among them
            log.info("%s does not get through the handshake of TLS: %s", self.peer, error)
            self._roster.counts.dropped["tls"] += 1

    def _opened(self, sock: socket.socket, _opening: asyncio.Task[None]) -> None:
        if not self._made:  # it came to nothing, perhaps before it was begun
            sock.close()
            self.connection_lost(None)

    # What asyncio calls

    @fenced
    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin to listen to the client."""
        self._transport = cast(asyncio.Transport, transport)
        self._made = True
        self._transport.set_write_buffer_limits(high=self._roster.limits.unread_bytes)
        self._pace()

    def get_buffer(self, _sizehint: int) -> Any:
        """Say where the next bytes go."""
        return self._roster.buffer(of_a_stranger=not self._admitted)

    @fenced
    def buffer_updated(self, nbytes: int) -> None:
        """Take in all that has arrived."""
        self._arrived_ms = self._roster.clock_ms()
        now_s = self._loop.time()
        self._roster.counts.bytes += nbytes
        self._flow.arrive(nbytes, now_s)
        self._proceed(self._session.receive(self._roster.take(nbytes), now_s))
        login = self._session.login
        if login is not None and not self._reading.held:
            self._check(login)

    def pause_writing(self) -> None:
        """Drop a client that does not read its answers."""
        self.drop("slow reader", "does not read its answers")

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection. What the inbox has of it is stored all the same."""
        log.info("%s is gone%s", self.peer, f": {exc}" if exc else "")
        self._timer.cancel()
        self._reading.end()
        self._roster.leave(self)

    # What the roster calls

    @fenced
    def take_over(self) -> None:
        """Make way for a newer connection of the same client."""
        self._session.disconnect(Reason.TAKEN_OVER)
        self._flush()

    @fenced
    def expel(self) -> None:
        """Close, for the token lets nobody in any more."""
        log.warning("the token of %s was revoked", self.peer)
        self._session.disconnect(Reason.NOT_AUTHORISED)
        self._flush()

    @fenced
    def look_again(self) -> None:
        """Read on if the inbox has room by now."""
        self._pace()

    @fenced
    def finish(self) -> None:
        """Read no more."""
        self._reading.held = True
        self._pace()

    def is_settled(self) -> bool:
        """Tell whether none of its messages is with the inbox."""
        return self._flow.is_settled()

    @fenced
    def farewell(self) -> None:
        """Say good-bye and close."""
        self._session.disconnect(Reason.SHUTTING_DOWN)
        self._flush()
        if not self._made:
            self.cut()

    def make_way(self) -> None:
        """Close at once: somebody new needs the place."""
        self.drop("made way", "makes way for a new connection, not having logged in")

    def drop(self, reason: str, what: str) -> None:
        """Close at once, and count and log why."""
        log.warning("%s %s: dropped", self.peer, what)
        self._roster.counts.dropped[reason] += 1
        self.cut()

    def cut(self) -> None:
        """Close at once."""
        self._reading.held = True
        if self._made:
            self._transport.abort()
        else:
            self._opening.cancel()

    # Logging in

    def _check(self, login: Login) -> None:
        if login.name is None or login.secret is None:
            self._turn_away(Reason.BAD_CREDENTIALS)
            return
        self._reading.held = True
        self._pace()
        checked = self._roster.check(login.name, login.secret, self.address)
        checked.add_done_callback(partial(self._checked, login))

    @fenced
    def _checked(self, login: Login, checked: asyncio.Future[Grant | None]) -> None:
        error = checked.exception()
        if self._session.over or self._transport.is_closing():
            return
        if error is not None:
            log.error("the token of %s could not be checked", self.peer, exc_info=error)
            self._turn_away(Reason.UNAVAILABLE)
            return
        grant = checked.result()
        if grant is None:
            self._turn_away(Reason.BAD_CREDENTIALS)
            return
        if not self._roster.admit(self, grant, login.client_id):
            self._turn_away(Reason.QUOTA_EXCEEDED)
            return
        self._grant = grant
        self._admitted = True
        self._reading.held = False
        self.peer = f"{grant.name} ({login.client_id!r} at {self.peer})"
        log.info("%s is let in", self.peer)
        self._proceed(self._session.admit(self._loop.time()))
        if not self._session.over:  # else the end has its own time
            self._watch()

    def _turn_away(self, reason: Reason) -> None:
        log.warning("%s is turned away: %s", self.peer, reason.name.lower().replace("_", " "))
        self._roster.turn_away(self, bad=reason is Reason.BAD_CREDENTIALS)
        self._session.refuse(reason)
        self._flush()

    def _login_is_late(self) -> None:
        self.drop("late login", "did not log in in time")

    # Messages to the inbox, answers back

    def _proceed(self, published: list[Publish]) -> None:
        if published:
            self._hand_in(published)
        unfinished = self._session.unfinished_bytes
        if unfinished != self._unfinished:
            self._unfinished = unfinished
            self._roster.hold(self, unfinished)
        self._pace()
        self._flush()

    def _hand_in(self, published: list[Publish]) -> None:
        at_ms, grant = self._arrived_ms, self._grant
        name, site, site_id = grant.name, grant.site, grant.site_id
        size = weight(sum(len(packet.payload) for packet in published), len(published))
        self._flow.hand_in(len(published), size, self._loop.time())
        self._roster.counts.messages += len(published)
        self._roster.inbox.put(
            [Message(one.topic, one.payload, at_ms, name, site, site_id) for one in published],
            partial(self._hear, published, size),
        )

    def _hear(self, published: list[Publish], size: int, verdicts: Sequence[Verdict]) -> None:
        """Bring the verdicts from the inbox's thread into the loop."""
        try:
            self._loop.call_soon_threadsafe(self._settle, published, size, verdicts)
        except RuntimeError:
            # The loop is closed, and the connection with it: nobody is left to be told.
            log.debug("verdicts on %s messages of %s came too late", len(published), self.peer)

    @fenced
    def _settle(self, published: list[Publish], size: int, verdicts: Sequence[Verdict]) -> None:
        set_aside = len(verdicts) - verdicts.count(Verdict.STORED)
        self._flow.settle(len(published), size, set_aside, self._loop.time())
        self._session.settle(published, verdicts)
        self._flush()
        self._pace()
        self._roster.note_change()

    def _flush(self) -> None:
        out = self._session.outgoing()
        if not self._made or self._transport.is_closing():
            return
        if out:
            self._transport.write(out)
        if self._session.over:
            if self._session.fault is not None:
                log.warning("%s broke the protocol: %s", self.peer, self._session.fault)
                self._roster.counts.dropped["protocol"] += 1
            self._reading.held = True
            self._set_timer(self._loop.call_later(_CLOSE_S, self.cut))
            self._transport.close()

    # Pace and time

    def _pace(self) -> None:
        if self._made and self._reading.pace(self._transport):
            self._session.touch(self._loop.time())

    @fenced
    def _watch(self) -> None:
        """Close after too long a silence; look again at least as often as a packet may take."""
        now_s = self._loop.time()
        if not self._reading:
            self._session.touch(now_s)
        look_s = now_s + self._roster.limits.session.packet_s
        deadline_s = self._session.deadline_s
        if deadline_s is None or now_s < deadline_s:
            look_s = look_s if deadline_s is None else min(deadline_s, look_s)
            self._set_timer(self._loop.call_at(look_s, self._watch))
        else:
            log.info("%s was silent for too long, or in the midst of a packet", self.peer)
            self._roster.counts.dropped["silent"] += 1
            self._session.disconnect(Reason.KEEP_ALIVE_TIMEOUT)
            self._flush()

    def _set_timer(self, timer: asyncio.TimerHandle) -> None:
        self._timer.cancel()
        self._timer = timer
