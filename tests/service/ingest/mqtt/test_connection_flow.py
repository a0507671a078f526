"""Connections that send too much, read too little, fall silent or meet a fault."""

import pytest

from joulebook.ingest.mqtt.limits import ListenerLimits, SessionLimits
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import DISCONNECT, PINGREQ, connect, publish
from tests.helpers.mqtt_server import RawClient, running_listener

AS_MANY_PINGS_AS_IT_LIKES = SessionLimits(asks_at_once=1e9)


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
    limits = ListenerLimits(unread_bytes=10_000, session=AS_MANY_PINGS_AS_IT_LIKES)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client(receive_buffer=4096) as client,
    ):
        with pytest.raises(ConnectionError):
            client.send(PINGREQ * 5_000_000)  # far more than the buffers of both ends hold
        wait_until(lambda: server.listener.counts().connections == 0)
    assert "does not read its answers" in caplog.text


def test_a_client_that_does_not_read_does_not_hold_up_the_stop(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(unread_bytes=2**24, session=AS_MANY_PINGS_AS_IT_LIKES)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client(receive_buffer=4096) as client,
    ):
        client.send(PINGREQ * 100_000)
        wait_until(lambda: server.listener.counts().bytes > 200_000)
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
    wait_until(lambda: inbox.payloads() == [b"good"])
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
