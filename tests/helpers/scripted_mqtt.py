"""An MQTT 5.0 server that answers as a test tells it to: bytes by hand, no library of ours."""

import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

# First bytes (MQTT 5.0 §2.1.2). CONNACK: no session, a reason, no properties.
_CONNECT, _PUBLISH = 1, 3


def connack(reason: int) -> bytes:
    return bytes((0x20, 3, 0, reason, 0))


def disconnect(reason: int) -> bytes:
    return bytes((0xE0, 1, reason))


class ScriptedServer:
    """Answers each CONNECT with ``connack`` and each PUBLISH with the reason ``puback``.

    ``None`` is silence. ``after_publish`` is sent in place of an acknowledgement, and the
    connection closed.
    """

    def __init__(
        self,
        *,
        connack: bytes | None = connack(0),
        puback: int | None = 0,
        after_publish: bytes | None = None,
    ) -> None:
        self._connack = connack
        self._puback = puback
        self._after_publish = after_publish
        self._news = threading.Condition()
        self._accepted: list[socket.socket] = []
        self.messages: list[tuple[str, bytes]] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        # Closing alone would not wake a thread that waits in accept.
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.drop()
        self._thread.join()

    def acknowledge(self) -> None:
        """From now on, acknowledge what is published."""
        self._puback = 0

    def accept_connections(self) -> None:
        """From now on, let clients in."""
        self._connack = connack(0)

    @property
    def connections(self) -> int:
        return len(self._accepted)

    def drop(self) -> None:
        """Cut every connection that is still open."""
        with self._news:
            for connection in self._accepted:
                with suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)

    def wait_until(self, holds: Callable[[Self], bool], timeout_s: float = 60.0) -> None:
        """Wait for messages or connections; fail when they do not come."""
        with self._news:
            assert self._news.wait_for(lambda: holds(self), timeout_s), self.messages

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            with connection, suppress(OSError, EOFError):
                with self._news:
                    self._accepted.append(connection)
                    self._news.notify_all()
                self._talk(connection)

    def _talk(self, connection: socket.socket) -> None:
        while True:
            kind, body = _read_packet(connection)
            if kind == _CONNECT and self._connack is not None:
                connection.sendall(self._connack)
            elif kind == _PUBLISH:
                self._take(connection, body)
                if self._after_publish is not None:
                    connection.sendall(self._after_publish)
                    return

    def _take(self, connection: socket.socket, body: bytes) -> None:
        topic_end = 2 + int.from_bytes(body[:2])
        packet_id, properties = body[topic_end : topic_end + 2], body[topic_end + 2]
        payload = body[topic_end + 3 + properties :]
        with self._news:
            self.messages.append((body[2:topic_end].decode(), payload))
            self._news.notify_all()
        if self._puback is not None and self._after_publish is None:
            connection.sendall(bytes((0x40, 3)) + packet_id + bytes((self._puback,)))


def _read_packet(connection: socket.socket) -> tuple[int, bytes]:
    first = _read(connection, 1)[0]
    length = shift = 0
    while True:
        byte = _read(connection, 1)[0]
        length |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            return first >> 4, _read(connection, length)


def _read(connection: socket.socket, count: int) -> bytes:
    found = b""
    while len(found) < count:
        more = connection.recv(count - len(found))
        if not more:
            raise EOFError
        found += more
    return found
