"""One client's connection: moves bytes between its socket and its session, and keeps the pace."""

import asyncio
import logging
import secrets
import socket
from collections.abc import Callable, Sequence
from functools import partial, wraps
from typing import Concatenate, ParamSpec, cast

from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.mqtt.handshake import Login
from joulebook.ingest.mqtt.packets import Publish
from joulebook.ingest.mqtt.reasons import Reason
from joulebook.ingest.mqtt.roster import Roster
from joulebook.ingest.mqtt.session import ServerSession
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)
P = ParamSpec("P")

# Answers are short: more than this of the system's memory would only serve clients that do not
# read them. [byte]
_SEND_BUFFER = 64 * 1024

# How long a client may take to read our last words. [s]
_CLOSE_S = 5.0


def _fenced(
    method: Callable[Concatenate["Connection", P], None],
) -> Callable[Concatenate["Connection", P], None]:
    """Let a bug cost the one connection in which it showed."""

    @wraps(method)
    def fenced(self: "Connection", /, *args: P.args, **kwargs: P.kwargs) -> None:
        try:
            method(self, *args, **kwargs)
        except Exception:
            log.exception("a bug while serving %s: the connection is closed", self.peer)
            self.cut()

    return fenced


class Connection(asyncio.Protocol):
    """A client's connection.

    All that arrives at once is one batch for the inbox, and all answers to a batch leave in one
    write. While the inbox is full, or has too much of this client's, the socket is not read: the
    client's own buffers fill and it slows down.

    Parameters
    ----------
    roster : Roster
        The inbox, clock and limits, and the other connections.
    """

    _transport: asyncio.Transport  # from connection_made on, which asyncio calls first
    _grant: Grant  # from the moment the client is let in

    def __init__(self, roster: Roster) -> None:
        self.peer = "a new client"
        self._roster = roster
        self._loop = asyncio.get_running_loop()
        self._session = ServerSession(
            roster.limits.session, new_client_id=secrets.token_hex(8), now_s=self._loop.time()
        )
        self._arrived_ms = 0
        self._with_inbox = 0  # messages
        self._with_inbox_bytes = 0
        self._reading = True
        self._held = False  # not read whatever the inbox says: login going on, or the end
        self._timer: asyncio.TimerHandle | None = None

    # What asyncio calls

    @_fenced
    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Start the time in which the client has to log in."""
        self._transport = cast(asyncio.Transport, transport)
        host, port, *_ = self._transport.get_extra_info("peername")
        self.peer = f"{host} port {port}"
        if not self._roster.enter(self):
            log.warning("no place for %s: turned away", self.peer)
            self.cut()
            return
        self._transport.set_write_buffer_limits(high=self._roster.limits.unread_bytes)
        own_socket = self._transport.get_extra_info("socket")
        own_socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
        # A 3.1.1 client may ask for no keep alive; its death is then found by TCP.
        own_socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._timer = self._loop.call_later(self._roster.limits.login_s, self._login_is_late)

    @_fenced
    def data_received(self, data: bytes) -> None:
        """Take in all that has arrived."""
        self._arrived_ms = self._roster.clock_ms()
        self._roster.counts.bytes += len(data)
        self._proceed(self._session.receive(data, self._loop.time()))
        login = self._session.login
        if login is not None and not self._held:
            self._check(login)

    def pause_writing(self) -> None:
        """Drop a client that does not read its answers."""
        log.warning("%s does not read its answers: dropped", self.peer)
        self.cut()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection. What the inbox has of it is stored all the same."""
        log.info("%s is gone%s", self.peer, f": {exc}" if exc else "")
        self._set_timer(None)
        self._held = True
        self._roster.leave(self)

    # What the roster calls

    @_fenced
    def take_over(self) -> None:
        """Make way for a newer connection of the same client."""
        self._session.disconnect(Reason.TAKEN_OVER)
        self._flush()

    @_fenced
    def expel(self) -> None:
        """Close, for the token lets nobody in any more."""
        log.warning("the token of %s was revoked", self.peer)
        self._session.disconnect(Reason.NOT_AUTHORISED)
        self._flush()

    @_fenced
    def look_again(self) -> None:
        """Read on if the inbox has room by now."""
        self._pace()

    @_fenced
    def finish(self) -> None:
        """Read no more."""
        self._held = True
        self._pace()

    def is_settled(self) -> bool:
        """Tell whether none of its messages is with the inbox."""
        return self._with_inbox == 0

    @_fenced
    def farewell(self) -> None:
        """Say good-bye and close."""
        self._session.disconnect(Reason.SHUTTING_DOWN)
        self._flush()

    def cut(self) -> None:
        """Close at once."""
        self._transport.abort()

    # Logging in

    def _check(self, login: Login) -> None:
        if login.name is None or login.secret is None:
            self._turn_away(Reason.BAD_CREDENTIALS)
            return
        self._held = True
        self._pace()
        checked = self._roster.check(login.name, login.secret)
        checked.add_done_callback(partial(self._checked, login))

    @_fenced
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
        self._grant = grant
        self._held = False
        self.peer = f"{grant.name} ({login.client_id!r} at {self.peer})"
        log.info("%s is let in", self.peer)
        self._roster.admit(self, grant, login.client_id)
        self._proceed(self._session.admit(self._loop.time()))
        self._pace()
        self._watch()

    def _turn_away(self, reason: Reason) -> None:
        log.warning("%s is turned away: %s", self.peer, reason.name.lower().replace("_", " "))
        self._roster.counts.refused += 1
        self._session.refuse(reason)
        self._flush()

    def _login_is_late(self) -> None:
        log.info("%s did not log in in time", self.peer)
        self.cut()

    # Messages to the inbox, answers back

    def _proceed(self, published: list[Publish]) -> None:
        if published:
            self._hand_in(published)
        self._flush()

    def _hand_in(self, published: list[Publish]) -> None:
        at_ms, grant = self._arrived_ms, self._grant
        name, site, site_id = grant.name, grant.site, grant.site_id
        size = sum(len(packet.payload) for packet in published)
        self._with_inbox += len(published)
        self._with_inbox_bytes += size
        self._roster.counts.messages += len(published)
        self._roster.inbox.put(
            [Message(one.topic, one.payload, at_ms, name, site, site_id) for one in published],
            partial(self._hear, published, size),
        )
        self._pace()

    def _hear(self, published: list[Publish], size: int, verdicts: Sequence[Verdict]) -> None:
        """Bring the verdicts from the inbox's thread into the loop."""
        try:
            self._loop.call_soon_threadsafe(self._settle, published, size, verdicts)
        except RuntimeError:
            # The loop is closed, and the connection with it: nobody is left to be told.
            log.debug("verdicts on %s messages of %s came too late", len(published), self.peer)

    @_fenced
    def _settle(self, published: list[Publish], size: int, verdicts: Sequence[Verdict]) -> None:
        self._with_inbox -= len(published)
        self._with_inbox_bytes -= size
        self._session.settle(published, verdicts)
        self._flush()
        self._pace()
        self._roster.note_change()

    def _flush(self) -> None:
        out = self._session.outgoing()
        if self._transport.is_closing():
            return
        if out:
            self._transport.write(out)
        if self._session.over:
            if self._session.fault is not None:
                log.warning("%s broke the protocol: %s", self.peer, self._session.fault)
            self._held = True
            self._set_timer(self._loop.call_later(_CLOSE_S, self.cut))
            self._transport.close()

    # Pace and time

    def _pace(self) -> None:
        """Read the socket, or not."""
        limits = self._roster.limits
        mine = (
            not self._held
            and self._with_inbox < limits.waiting_messages
            and self._with_inbox_bytes < limits.waiting_bytes
        )
        room = self._roster.inbox.has_room()
        if mine and not room:
            self._roster.wait_for_room(self)
        if (mine and room) == self._reading or self._transport.is_closing():
            return
        self._reading = mine and room
        if self._reading:
            self._session.touch(self._loop.time())
            self._transport.resume_reading()
        else:
            self._transport.pause_reading()

    @_fenced
    def _watch(self) -> None:
        """Close after one and a half times the keep alive without a packet."""
        now_s = self._loop.time()
        if not self._reading:
            self._session.touch(now_s)
        deadline_s = self._session.deadline_s
        if deadline_s is None:
            self._set_timer(None)
        elif now_s < deadline_s:
            self._set_timer(self._loop.call_at(deadline_s, self._watch))
        else:
            log.info("%s was silent for too long", self.peer)
            self._session.disconnect(Reason.KEEP_ALIVE_TIMEOUT)
            self._flush()

    def _set_timer(self, timer: asyncio.TimerHandle | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = timer
