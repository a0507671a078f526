"""A listener that runs in a thread of its own, and bare sockets to speak to it."""

import asyncio
import socket
import ssl
import threading
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.mqtt.roster import none_revoked
from joulebook.ingest.throttle import Throttle
from joulebook.storage.records import Grant
from tests.helpers.mqtt_inbox import WAIT_S
from tests.helpers.mqtt_packets import connect

#: The time of receipt that a tested listener is given. [ms, UTC epoch]
NOW_MS = 1_789_000_000_000

GRANT = Grant(token_id=1, name="bridge1", site_id=7, site="home")


def check_token(name: str, secret: str) -> Grant | None:
    """Know one bridge: ``bridge1`` with ``secret``."""
    return GRANT if (name, secret) == ("bridge1", "secret") else None


class RunningListener:
    """A listener and the loop that it runs in."""

    def __init__(self, listener: Listener, loop: asyncio.AbstractEventLoop) -> None:
        self.listener = listener
        self.port = listener.port
        self._loop = loop

    def stop(self) -> None:
        """Stop gracefully; may be called twice."""
        asyncio.run_coroutine_threadsafe(self.listener.stop(), self._loop).result(WAIT_S)

    def client(self, level: int = 4, *, receive_buffer: int = 65536) -> "RawClient":
        """Return a bare socket of a client that is let in."""
        client = self.stranger(receive_buffer=receive_buffer)
        client.send(connect(level))
        answer = client.packet()
        assert (answer[0], answer[3]) == (0x20, 0), answer.hex(" ")
        return client

    def stranger(self, *, receive_buffer: int = 65536) -> "RawClient":
        """Return a bare socket without a CONNECT."""
        sock = socket.socket()
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        sock.settimeout(WAIT_S)
        sock.connect(("127.0.0.1", self.port))
        return RawClient(sock)


@contextmanager
def running_listener(
    inbox: Inbox,
    *,
    check: Callable[[str, str], Grant | None] = check_token,
    limits: ListenerLimits | None = None,
    revoked: Callable[[Collection[int]], Collection[int]] = none_revoked,
    guesses: Throttle | None = None,
    tls: ssl.SSLContext | None = None,
    port: int = 0,
) -> Iterator[RunningListener]:
    """Run a listener on a free port of this machine until the block ends."""
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    listener = Listener(
        inbox,
        check,
        host="127.0.0.1",
        port=port,
        clock_ms=lambda: NOW_MS,
        tls=tls,
        limits=limits or ListenerLimits(),
        revoked=revoked,
        guesses=guesses,
    )
    try:
        asyncio.run_coroutine_threadsafe(listener.start(), loop).result(WAIT_S)
        running = RunningListener(listener, loop)
        try:
            yield running
        finally:
            running.stop()
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


class RawClient:
    """A bare socket, read packet by packet."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock = sock

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.sock.close()

    def send(self, data: bytes) -> None:
        self.sock.sendall(data)

    def packet(self) -> bytes:
        """Return the next packet, all of whose lengths are below 128; empty when closed."""
        head = self.read(2)
        return head + self.read(head[1]) if len(head) == 2 else b""

    def read(self, length: int) -> bytes:
        """Return so many bytes, or fewer when the server closed."""
        data = b""
        while len(data) < length:
            try:
                more = self.sock.recv(length - len(data))
            except ConnectionResetError:  # pragma: no cover - how a close looks is a race
                break
            if not more:
                break
            data += more
        return data

    def is_closed(self) -> bool:
        """Wait for the server to close, with nothing more to say."""
        return self.read(1) == b""
