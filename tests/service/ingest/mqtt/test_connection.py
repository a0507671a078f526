import socket
import struct
import threading
from collections.abc import Iterator

import pytest

from joulebook.ingest.mqtt.roster import ListenerLimits
from joulebook.storage.records import Grant
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import DISCONNECT, PINGREQ, connect, publish
from tests.helpers.mqtt_server import GRANT, RawClient, running_listener


@pytest.fixture
def inbox() -> Iterator[RecordingInbox]:
    inbox = RecordingInbox()
    yield inbox
    inbox.stop()


# Who is let in


@pytest.mark.parametrize(
    ("raw", "answer"),
    [
        (connect(secret="wrong"), "20020004"),
        (connect(name="nobody"), "20020004"),
        (connect(name=None, secret=None), "20020004"),
        (connect(secret=None), "20020004"),
        (connect(5, secret="wrong"), "2003008600"),
        (connect(5, name=None), "2003008600"),
    ],
)
def test_strangers_are_turned_away(inbox: RecordingInbox, raw: bytes, answer: str) -> None:
    with running_listener(inbox) as server, server.stranger() as client:
        client.send(raw + publish(qos=0))
        assert client.packet().hex() == answer
        assert client.is_closed()
        assert server.listener.counts().refused == 1
    assert inbox.messages == []


@pytest.mark.parametrize(("level", "answer"), [(4, "20020003"), (5, "2003008800")])
def test_a_token_that_cannot_be_checked(
    inbox: RecordingInbox, level: int, answer: str, caplog: pytest.LogCaptureFixture
) -> None:
    def check(_name: str, _secret: str) -> Grant | None:
        raise OSError("disk away")

    with running_listener(inbox, check=check) as server, server.stranger() as client:
        client.send(connect(level))
        assert client.packet().hex() == answer
        assert client.is_closed()
    assert "disk away" in caplog.text


def test_the_check_does_not_hold_up_others(inbox: RecordingInbox) -> None:
    checked, go_on = threading.Event(), threading.Event()

    def check(_name: str, secret: str) -> Grant | None:
        if secret == "slow":
            checked.set()
            assert go_on.wait(WAIT_S)
        return GRANT

    with running_listener(inbox, check=check) as server, server.stranger() as slow:
        slow.send(connect(client_id="slow", secret="slow"))
        assert checked.wait(WAIT_S)
        slow.send(publish(payload=b"early"))
        with server.client() as other:
            other.send(PINGREQ)
            assert other.packet() == b"\xd0\x00"
        go_on.set()
        assert slow.packet().hex() == "20020000"
        assert slow.packet().hex() == "40020001"
    assert inbox.payloads() == [b"early"]


def test_a_client_that_leaves_while_it_is_checked(inbox: RecordingInbox) -> None:
    checked, go_on = threading.Event(), threading.Event()

    def check(_name: str, _secret: str) -> Grant | None:
        checked.set()
        assert go_on.wait(WAIT_S)
        return GRANT

    with running_listener(inbox, check=check) as server:
        with server.stranger() as client:
            client.send(connect())
            assert checked.wait(WAIT_S)
            # A reset reaches the server although it does not read just now.
            client.sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        go_on.set()
        with server.client():
            pass
        wait_until(lambda: server.listener.counts().connections == 0)


def test_a_stop_while_a_client_is_checked(inbox: RecordingInbox) -> None:
    checked, go_on = threading.Event(), threading.Event()

    def check(_name: str, _secret: str) -> Grant | None:
        checked.set()
        assert go_on.wait(WAIT_S)
        return GRANT

    with running_listener(inbox, check=check) as server, server.stranger() as client:
        client.send(connect(5))
        assert checked.wait(WAIT_S)
        server.stop()
        assert client.is_closed()
        go_on.set()
        wait_until(
            lambda: not any(one.name.startswith("mqtt-token") for one in threading.enumerate())
        )
        server.stop()  # whatever the loop had to do is done
        assert server.listener.counts().connections == 0


def test_who_says_nothing_is_dropped(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(login_s=0.05)
    with running_listener(inbox, limits=limits) as server, server.stranger() as client:
        assert client.is_closed()


def test_too_many_connections(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(connections=1)
    with running_listener(inbox, limits=limits) as server:
        with server.client(), server.stranger() as second:
            assert second.is_closed()
            assert server.listener.counts().refused == 1
        wait_until(lambda: server.listener.counts().connections == 0)
        with server.client():
            pass


@pytest.mark.parametrize(("level", "last"), [(4, b""), (5, b"\xe0\x01\x8e")])
def test_a_client_that_comes_again_takes_over(
    inbox: RecordingInbox, level: int, last: bytes
) -> None:
    with (
        running_listener(inbox) as server,
        server.client(level) as older,
        server.client(level) as newer,
    ):
        assert older.packet() == last
        assert older.is_closed()
        newer.send(PINGREQ)
        assert newer.packet() == b"\xd0\x00"


def test_the_same_identifier_under_another_token(inbox: RecordingInbox) -> None:
    def check(name: str, _secret: str) -> Grant | None:
        return Grant(token_id=len(name), name=name, site_id=7, site="home")

    with (
        running_listener(inbox, check=check) as server,
        server.client() as one,
        server.stranger() as other,
    ):
        other.send(connect(name="other"))
        assert other.packet().hex() == "20020000"
        one.send(PINGREQ)
        assert one.packet() == b"\xd0\x00"


# Pace


def is_stuck(client: RawClient, data: bytes) -> bytes:
    """Send ``data`` over and over until the server reads no more; return what was left over."""
    client.sock.settimeout(0.5)
    for _ in range(1000):
        rest = data
        while rest:
            try:
                rest = rest[client.sock.send(rest) :]
            except TimeoutError:
                client.sock.settimeout(WAIT_S)
                return rest
    pytest.fail("the server reads on")  # pragma: no cover - only when back-pressure is broken


def test_a_full_inbox_stops_the_reading(inbox: RecordingInbox) -> None:
    big = publish(payload=bytes(100_000), qos=0)
    with running_listener(inbox) as server, server.client() as client:
        inbox.room = False
        rest = is_stuck(client, big)
        read = server.listener.counts().bytes
        inbox.room = True
        client.send(rest + publish(payload=b"last"))
        assert client.packet().hex() == "40020001"
    assert read < server.listener.counts().bytes
    assert set(inbox.payloads()) == {bytes(100_000), b"last"}


@pytest.mark.parametrize(
    "limits", [ListenerLimits(waiting_messages=3), ListenerLimits(waiting_bytes=150_000)]
)
def test_a_client_with_too_much_under_way_is_not_read(
    inbox: RecordingInbox, limits: ListenerLimits
) -> None:
    big = publish(payload=bytes(100_000), qos=0)
    inbox.hold()
    with running_listener(inbox, limits=limits) as server, server.client() as client:
        rest = is_stuck(client, big)
        assert inbox.taken <= 5  # the limit, and what one read of 256 KiB brings
        inbox.release()
        client.send(rest + publish(payload=b"last"))
        assert client.packet().hex() == "40020001"
    assert inbox.payloads()[-1] == b"last"


def test_a_client_that_does_not_read_its_answers_is_dropped(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    limits = ListenerLimits(unread_bytes=10_000)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client(receive_buffer=4096) as client,
    ):
        with pytest.raises(ConnectionError):
            client.send(PINGREQ * 5_000_000)  # far more than the buffers of both ends hold
        wait_until(lambda: server.listener.counts().connections == 0)
    assert "does not read its answers" in caplog.text


def test_a_client_that_does_not_read_does_not_hold_up_the_stop(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(unread_bytes=2**24)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client(receive_buffer=4096) as client,
    ):
        client.send(PINGREQ * 500_000)
        wait_until(lambda: server.listener.counts().bytes > 1_000_000)
        server.stop()
        assert server.listener.counts().connections == 0


# Silence


def test_silence_ends_a_connection(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.stranger() as client:
        client.send(connect(5, keep_alive_s=1))
        assert client.packet()[0] == 0x20
        client.send(PINGREQ)
        assert client.packet() == b"\xd0\x00"
        assert client.packet() == b"\xe0\x01\x8d"
        assert client.is_closed()


def test_silence_while_we_do_not_read_is_ours(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.stranger() as client:
        client.send(connect(keep_alive_s=1))
        client.packet()
        client.send(PINGREQ)
        client.packet()  # by now it reads on after the login
        inbox.room = False
        client.send(publish())
        assert client.packet().hex() == "40020001"
        client.sock.settimeout(2.0)  # longer than the keep alive and a half
        with pytest.raises(TimeoutError):
            client.sock.recv(1)
        client.sock.settimeout(WAIT_S)
        inbox.room = True
        client.send(PINGREQ)
        assert client.packet() == b"\xd0\x00"


# Faults


def test_a_bug_costs_one_connection(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    with running_listener(inbox) as server, server.client() as other:
        with server.stranger() as client:
            client.send(connect(client_id="unlucky"))
            client.packet()
            inbox.putting = ZeroDivisionError("a bug of ours")
            client.send(publish())
            assert client.is_closed()
            inbox.putting = None
        other.send(publish())
        assert other.packet().hex() == "40020001"
    assert "a bug of ours" in caplog.text


def test_a_fault_costs_one_connection_and_is_told(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    with running_listener(inbox) as server, server.client(5) as client:
        client.send(publish(level=5, payload=b"good") + publish(level=5, qos=3))
        assert client.packet() == b"\xe0\x01\x81"
        assert client.is_closed()
    assert inbox.payloads() == [b"good"]
    assert "bridge1" in caplog.text
    assert "a PUBLISH with the flags 0x6" in caplog.text


def test_messages_of_a_client_that_is_gone_are_kept(inbox: RecordingInbox) -> None:
    inbox.hold()
    with running_listener(inbox) as server:
        with server.client() as client:
            client.send(publish() + DISCONNECT)
            assert client.is_closed()
        inbox.release()
        wait_until(lambda: len(inbox.messages) == 1)
