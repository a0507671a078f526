"""The embedded MQTT server: takes readings in, and gives nothing out."""

import asyncio
import logging
import ssl
from collections.abc import Callable, Collection
from dataclasses import replace

from joulebook.errors import UnavailableError
from joulebook.ingest.mqtt.connection import Connection
from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.roster import ListenerCounts, ListenerLimits, Roster, none_revoked
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)


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
    ) -> None:
        self._roster = Roster(inbox, check_token, clock_ms=clock_ms, limits=limits, revoked=revoked)
        self._host = host
        self._tls = tls
        self._server: asyncio.Server | None = None
        self.port = port

    async def start(self) -> None:
        """Listen; :attr:`port` then is the bound one.

        Raises
        ------
        UnavailableError
            If the address cannot be had.
        """
        try:
            self._server = await asyncio.get_running_loop().create_server(
                lambda: Connection(self._roster), self._host, self.port, ssl=self._tls
            )
        except OSError as error:
            raise UnavailableError(
                f"cannot listen for MQTT: {error.strerror or error}",
                where=f"{self._host} port {self.port}",
                expected="an address of this machine and a port that nobody else uses",
                next_step="stop the other program, or choose another port",
            ) from error
        self.port = self._server.sockets[0].getsockname()[1]
        log.info("listening for MQTT on %s port %s", self._host, self.port)

    async def stop(self) -> None:
        """Stop taking messages in, answer those that are with the inbox, and close."""
        if self._server is not None:
            self._server.close()
            await self._roster.stop()
            await self._server.wait_closed()
            self._server = None

    def counts(self) -> ListenerCounts:
        """Return what has been seen since the start."""
        return replace(self._roster.counts)
