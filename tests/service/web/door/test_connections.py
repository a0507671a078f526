"""Connections to a real server that say too little, read too little, or are too many."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress

import pytest
import uvicorn
from starlette.types import Receive, Scope, Send

from joulebook.web.door import connections
from joulebook.web.door.connections import MOST_OF_A_HEAD, WebConnection

WAIT_S = 60.0
LARGE = 32 * 1024 * 1024


class Impatient(WebConnection):
    """The same, in a hurry."""

    patience_s = 0.2
    look_s = 0.05


async def app(scope: Scope, _receive: Receive, send: Send) -> None:
    """Answer with one byte, or with a great many."""
    size = LARGE if scope["path"] == "/large" else 1
    headers = [(b"content-length", str(size).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": bytes(size)})


@contextmanager
def served(kind: type[WebConnection] = WebConnection) -> Iterator[Callable[..., socket.socket]]:
    """Serve the application; give what opens connections to it."""
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        app,
        http=kind,
        h11_max_incomplete_event_size=MOST_OF_A_HEAD,
        log_config=None,
        lifespan="off",
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()

    with ExitStack() as opened:

        def connect(receive_buffer: int = 65536) -> socket.socket:
            client = opened.enter_context(socket.socket())
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
            client.settimeout(WAIT_S)
            client.connect(listening.getsockname())
            return client

        try:
            yield connect
        finally:
            server.should_exit = True
            thread.join(WAIT_S)
            listening.close()


def asked(client: socket.socket) -> bytes:
    """Ask; return the answer, which ends with its only byte."""
    client.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
    answer = b""
    while not answer.endswith(b"\r\n\r\n\0"):
        answer += client.recv(65536)
    return answer


def is_closed(client: socket.socket) -> bool:
    """Wait for the end of a connection that has nothing more to say."""
    return bytes_read(client) == 0


def bytes_read(client: socket.socket) -> int:
    """Read to the end of a connection, however it comes."""
    read = 0
    with suppress(ConnectionResetError):
        while part := client.recv(65536):
            read += len(part)
    return read


def test_a_connection_serves_one_request_after_the_other() -> None:
    with served(Impatient) as connect:
        client = connect()
        for _ in range(3):
            assert asked(client).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize("said", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x\r\nA: "])
def test_half_a_head_is_not_waited_for(said: bytes) -> None:
    with served(Impatient) as connect:
        client = connect()
        client.sendall(said)
        assert is_closed(client)
        client = connect()
        assert asked(client).startswith(b"HTTP/1.1 200")
        client.sendall(said)
        assert is_closed(client)


def test_who_does_not_read_his_answer_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    dropped = threading.Event()
    lost = WebConnection.connection_lost

    def note(self: WebConnection, exc: Exception | None) -> None:
        lost(self, exc)
        dropped.set()

    monkeypatch.setattr(WebConnection, "connection_lost", note)
    with served(Impatient) as connect:
        client = connect(4096)
        client.sendall(b"GET /large HTTP/1.1\r\nHost: x\r\n\r\n")
        assert dropped.wait(WAIT_S)
        assert bytes_read(client) < LARGE


def test_who_reads_slowly_gets_it_all() -> None:
    with served(Impatient) as connect:
        client = connect(65536)
        client.sendall(b"GET /large HTTP/1.1\r\nHost: x\r\n\r\n")
        read = 0
        while read < LARGE:
            part = client.recv(LARGE // 16)
            assert part
            read += len(part)
            threading.Event().wait(0.0005)
        assert read >= LARGE


@pytest.mark.parametrize("start", [b"GET /", b"GET / HTTP/1.1\r\nA: "])
def test_a_head_may_be_so_long(start: bytes) -> None:
    with served() as connect:
        client = connect()
        client.sendall(start + b"a" * 20_000)
        assert client.recv(65536).startswith(b"HTTP/1.1 400")


def test_where_all_places_are_taken_whoever_waits_longest_makes_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 2)
    with served() as connect:
        silent = connect()
        speaking = connect()
        assert asked(speaking).startswith(b"HTTP/1.1 200")
        assert asked(connect()).startswith(b"HTTP/1.1 200")
        assert is_closed(silent)


def test_an_address_has_so_many_connections(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MOST_OF_AN_ADDRESS", 2)
    with served() as connect:
        for _ in range(3):  # this machine may have more
            assert asked(connect()).startswith(b"HTTP/1.1 200")
    monkeypatch.setattr(connections, "is_this_machine", lambda _address: False)
    with served() as connect:
        for _ in range(2):
            assert asked(connect()).startswith(b"HTTP/1.1 200")
        assert is_closed(connect())


def test_a_socket_without_an_address_counts_as_this_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(connections, "MOST_OF_AN_ADDRESS", 0)
    monkeypatch.setattr(WebConnection, "_address", lambda _self: "")
    with served() as connect:
        assert asked(connect()).startswith(b"HTTP/1.1 200")
