import asyncio
import socket
import ssl
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from joulebook.errors import UnavailableError
from joulebook.ingest.message import Message
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.mqtt.listener import Listener
from joulebook.ingest.mqtt.roster import ListenerCounts
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import PINGREQ, connect, publish
from tests.helpers.mqtt_server import NOW_MS, RawClient, check_token, running_listener
from tests.helpers.mqtt_tls import tls_contexts


def test_a_message_with_all_that_is_known_of_it(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.client() as client:
        client.send(publish(payload=b"[1]", packet_id=7))
        assert client.packet().hex() == "40020007"
        assert inbox.messages == [
            Message("joulebook/v1/home/battery", b"[1]", NOW_MS, "bridge1", "home", 7)
        ]
        size = len(connect()) + len(publish(payload=b"[1]"))
        assert server.listener.counts() == ListenerCounts(1, 1, 0, 1, size)
    wait_until(lambda: server.listener.counts().connections == 0)


def test_nothing_is_acknowledged_before_it_is_settled(inbox: RecordingInbox) -> None:
    inbox.hold()
    with running_listener(inbox) as server, server.client() as client:
        client.send(publish(packet_id=1) + PINGREQ)
        assert client.packet() == b"\xd0\x00"  # the ping, sent later, is answered first
        inbox.release()
        assert client.packet().hex() == "40020001"


def test_all_that_arrives_together_is_one_batch(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.client() as client:
        client.send(b"".join(publish(packet_id=n) for n in range(1, 101)))
        answers = client.read(400)
    assert answers == b"".join(b"\x40\x02" + n.to_bytes(2) for n in range(1, 101))
    assert sum(inbox.batches) == 100
    assert len(inbox.batches) < 10


# Start and stop


def test_a_port_in_use(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server:
        second = running_listener(inbox, port=server.port)
        with pytest.raises(UnavailableError, match="cannot listen") as caught:
            second.__enter__()
    assert str(server.port) in caught.value.where


def test_a_listener_that_never_started_can_stop(inbox: RecordingInbox) -> None:
    listener = Listener(inbox, check_token, host="127.0.0.1", port=0, clock_ms=lambda: NOW_MS)
    asyncio.run(listener.stop())
    assert listener.counts() == ListenerCounts()


def in_background(call: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=call)
    thread.start()
    return thread


def test_a_stop_answers_what_is_under_way(inbox: RecordingInbox) -> None:
    inbox.hold()
    with (
        running_listener(inbox) as server,
        server.client(5) as client,
        server.stranger() as other,
        server.stranger() as newcomer,
    ):
        other.send(connect(4, client_id="other"))
        other.packet()
        client.send(publish(level=5))
        wait_until(lambda: inbox.taken == 1)
        stopping = in_background(server.stop)
        wait_until(lambda: is_free(server.port))
        inbox.release()
        assert client.packet().hex() == "40020001"
        assert client.packet() == b"\xe0\x01\x8b"
        assert client.is_closed()
        assert other.is_closed()
        assert newcomer.is_closed()
        stopping.join()


def is_free(port: int) -> bool:
    """Tell whether nobody listens there, without connecting."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            free = False  # pragma: no cover -- asked only while the listener is still closing
        else:
            free = True
    return free


def test_a_stop_does_not_wait_for_ever(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("DEBUG")
    inbox.hold()
    limits = ListenerLimits(stop_s=0.05)
    with running_listener(inbox, limits=limits) as server, server.client(5) as client:
        client.send(publish(level=5))
        wait_until(lambda: inbox.taken == 1)
        server.stop()
        assert client.packet() == b"\xe0\x01\x8b"
    inbox.release()  # the loop is closed: the verdict finds nobody, and the inbox goes on
    inbox.put([], lambda _verdicts: None)
    wait_until(lambda: "came too late" in caplog.text)


@pytest.mark.outside
def test_tls(inbox: RecordingInbox, tmp_path: Path) -> None:
    server_tls, client_tls = tls_contexts(tmp_path)
    with running_listener(inbox, tls=server_tls) as server:
        plain = socket.create_connection(("127.0.0.1", server.port), timeout=WAIT_S)
        with RawClient(client_tls.wrap_socket(plain, server_hostname="127.0.0.1")) as client:
            client.send(connect(5) + publish(level=5))
            assert client.packet()[0] == 0x20
            assert client.packet().hex() == "40020001"
        wary = ssl.create_default_context()
        with (
            socket.create_connection(("127.0.0.1", server.port), timeout=WAIT_S) as plain,
            pytest.raises(ssl.SSLCertVerificationError),
        ):
            wary.wrap_socket(plain, server_hostname="127.0.0.1")
