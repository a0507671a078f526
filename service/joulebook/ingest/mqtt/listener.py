"""The embedded MQTT server: takes readings in, and gives nothing out."""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable, Collection
from dataclasses import replace

from joulebook.errors import UnavailableError
from joulebook.ingest.mqtt.connection import Connection
from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.mqtt.roster import ListenerCounts, Roster, none_revoked
from joulebook.ingest.mqtt.sockets import listening_sockets
from joulebook.ingest.pace import Bucket
from joulebook.ingest.throttle import Throttle
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)

# How long to wait where the system has no descriptor left for another connection. [s]
_ACCEPT_AGAIN_S = 1.0


class Listener:
    """An ingest-only MQTT server, 3.1.1 and 5.0.

    A message of QoS 1 or 2 is acknowledged after the inbox has stored it. The user name is the
    bridge's name and the password its token's secret.

    Parameters
    ----------
    inbox : Inbox
        Where messages go.
    check_token : callable
        Returns the grant of a name and secret, or ``None``. Called in a thread of its own.
    host, port : str and int
        Where to listen; port 0 takes a free one.
    clock_ms : callable
        The time of receipt. [ms, UTC epoch]
    tls : ssl.SSLContext, optional
        The server's certificate, for MQTT over TLS.
    limits : ListenerLimits, optional
        What one listener takes at most.
    revoked : callable, optional
        Returns those of some tokens' ids that let nobody in any more: their connections are
        closed. Called in a thread of its own, every two seconds while anybody is connected.
    guesses : Throttle, optional
        Who guesses at tokens, here and at other doors.
    """

    def __init__(
        self,
        inbox: Inbox,
        check_token: Callable[[str, str], Grant | None],
        *,
        host: str,
        port: int,
        clock_ms: Callable[[], int],
        tls: ssl.SSLContext | None = None,
        limits: ListenerLimits = ListenerLimits(),  # noqa: B008 - frozen
        revoked: Callable[[Collection[int]], Collection[int]] = none_revoked,
        guesses: Throttle | None = None,
    ) -> None:
        self._roster = Roster(
            *(inbox, check_token),
            clock_ms=clock_ms,
            limits=limits,
            revoked=revoked,
            guesses=guesses,
        )
        self._host = host
        self._tls = tls
        self._sockets: list[socket.socket] = []
        self._accepting: list[asyncio.Task[None]] = []
        self._told = Bucket(1.0, 20.0, 0.0)
        self.port = port

    async def start(self) -> None:
        """Listen; :attr:`port` then is the bound one.

        Raises
        ------
        UnavailableError
            If the address cannot be had.
        """
        try:
            self._sockets = await listening_sockets(self._host, self.port)
        except OSError as error:
            raise UnavailableError(
                f"cannot listen for MQTT: {error.strerror or error}",
                where=f"{self._host} port {self.port}",
                expected="an address of this machine and a port that nobody else uses",
                next_step="stop the other program, or choose another port",
            ) from error
        self.port = self._sockets[0].getsockname()[1]
        loop = asyncio.get_running_loop()
        self._accepting = [loop.create_task(self._accept(each)) for each in self._sockets]
        log.info("listening for MQTT on %s port %s", self._host, self.port)

    @property
    def alive(self) -> bool:
        """Whether connections are taken."""
        return bool(self._accepting) and not any(task.done() for task in self._accepting)

    async def reopen(self) -> None:
        """Take connections again on the same port; those that are open stay open."""
        await self._close()
        await self.start()

    async def stop(self) -> None:
        """Stop taking messages in, answer those that are with the inbox, and close."""
        if self._sockets:
            await self._close()
            await self._roster.stop()

    async def _close(self) -> None:
        for task in self._accepting:
            task.cancel()
        await asyncio.gather(*self._accepting, return_exceptions=True)
        for each in self._sockets:
            each.close()
        self._accepting, self._sockets = [], []

    async def _accept(self, listening: socket.socket) -> None:
        """Take connections, each counted before it costs a handshake."""
        loop = asyncio.get_running_loop()
        while True:
            try:
                sock, (address, port, *_) = await loop.sock_accept(listening)
            except ConnectionError:  # it was gone before we came to it
                continue
            except OSError as error:  # out of descriptors, most often
                self._tell(f"cannot take connections for MQTT: {error}")
                await asyncio.sleep(_ACCEPT_AGAIN_S)
                continue
            connection = Connection(self._roster, address, port)
            refusal = self._roster.enter(connection)
            if refusal:
                self._tell(f"{connection.peer} is turned away: {refusal}")
                sock.close()
            else:
                connection.open(sock, self._tls)

    def _tell(self, what: str) -> None:
        """Log who is turned away, but no more than a log can take."""
        now_s = asyncio.get_running_loop().time()
        if self._told.wait_s(now_s) == 0:
            self._told.take(1, now_s)
            log.warning("%s", what)

    def counts(self) -> ListenerCounts:
        """Return what has been seen since the start."""
        return replace(self._roster.counts, dropped=self._roster.counts.dropped.copy())
