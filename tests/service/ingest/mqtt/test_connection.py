import socket
import struct
import threading

import pytest

from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.storage.records import Grant
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import PINGREQ, connect, publish
from tests.helpers.mqtt_server import GRANT, running_listener

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
