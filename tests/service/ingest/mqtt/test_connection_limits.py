"""Limits of one connection and of all, over real sockets."""

import asyncio
import resource
from contextlib import ExitStack
from functools import partial

import pytest

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.limits import CLIENT_ID_BYTES, ListenerLimits, SessionLimits
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import PINGREQ, connect, packet, publish, text
from tests.helpers.mqtt_server import RunningListener, running_listener

# Rates: a fast client is slowed, and loses nothing


def test_a_bridge_that_catches_up_is_not_slowed(inbox: RecordingInbox) -> None:
    # A week offline, then 45,000 readings a second in packs of 20: 2,250 messages a second. A
    # minute's worth comes at once here, and none of it waits for the rates.
    limits = ListenerLimits()
    assert limits.messages_per_s * limits.at_once_s >= 45_000 / 20 * 15
    packs = [publish(payload=b"x" * 900, packet_id=n % 60_000 + 1) for n in range(30_000)]
    with running_listener(inbox) as server, server.client() as client:
        client.sock.settimeout(60.0)
        for start in range(0, len(packs), 500):
            client.send(b"".join(packs[start : start + 500]))
            answers = client.read(4 * 500)
            assert answers[-2:] == ((start + 499) % 60_000 + 1).to_bytes(2)
    assert len(inbox.messages) == 30_000


@pytest.mark.parametrize(
    "limits",
    [
        ListenerLimits(messages_per_s=100.0, at_once_s=0.1),
        ListenerLimits(total_messages_per_s=100.0, at_once_s=0.1),
        ListenerLimits(bytes_per_s=4000.0, at_once_s=0.1),
        ListenerLimits(total_bytes_per_s=4000.0, at_once_s=0.1),
    ],
)
def test_a_client_that_is_too_fast_is_slowed_and_loses_nothing(
    inbox: RecordingInbox, limits: ListenerLimits
) -> None:
    # 50 messages of 35 bytes; each is sent as a batch of its own, or one read would bring all.
    with running_listener(inbox, limits=limits) as server, server.client() as client:
        loop_s = asyncio.new_event_loop()
        began_s = loop_s.time()
        for number in range(1, 51):
            client.send(publish(packet_id=number))
            assert client.packet() == b"\x40\x02" + number.to_bytes(2)
        took_s = loop_s.time() - began_s
        loop_s.close()
    assert len(inbox.messages) == 50
    # At 100 a second after 10 at once, or 4,000 bytes after 400: 0.4 s and 0.33 s at least.
    assert took_s > 0.3


def test_a_sender_of_what_must_be_set_aside_is_slowed(inbox: RecordingInbox) -> None:
    refusing = RecordingInbox(lambda _message: Verdict.QUARANTINED)
    limits = ListenerLimits(messages_per_s=100.0, at_once_s=0.1)
    with running_listener(refusing, limits=limits) as server, server.client() as client:
        loop_s = asyncio.new_event_loop()
        began_s = loop_s.time()
        for number in range(1, 4):
            client.send(publish(packet_id=number))
            client.packet()
        took_s = loop_s.time() - began_s
        loop_s.close()
    refusing.stop()
    assert inbox.messages == []
    assert took_s > 0.2  # the first costs 20, at 100 a second after 10 at once: 0.1 s; so the next


def test_who_asks_and_asks_is_dropped(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(session=SessionLimits(asks_at_once=10.0))
    with running_listener(inbox, limits=limits) as server, server.client(5) as client:
        client.send(PINGREQ * 12)
        answers = client.read(1000)
        assert answers.endswith(b"\xe0\x01\x96")  # message rate too high
        assert server.listener.counts().dropped == {"protocol": 1}


# Memory: of all unfinished packets together


def test_a_thousand_half_packets_of_a_mebibyte_are_bounded(inbox: RecordingInbox) -> None:
    budget = 8 * 1024 * 1024
    limits = ListenerLimits(connections=1100, token_connections=1100, total_unfinished_bytes=budget)
    half = b"\x32\xfa\xff\x3f" + text("joulebook/v1/home/battery") + bytes(512 * 1024)
    count = 1000 if resource.getrlimit(resource.RLIMIT_NOFILE)[1] > 2500 else 100
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 4096), hard))
    try:
        with running_listener(inbox, limits=limits) as server, ExitStack() as clients:
            most = fill_with_halves(server, clients, half, count)
            counts = server.listener.counts()
            assert most <= budget + 128 * 1024  # and what one read brings
            assert counts.dropped["memory"] == counts.connections_total - counts.connections
            assert counts.dropped["memory"] >= count - budget // (512 * 1024) - 1
            with server.client() as bridge:
                bridge.send(publish(payload=b"still here"))
                assert bridge.packet().hex() == "40020001"
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    assert inbox.payloads() == [b"still here"]


def fill_with_halves(server: RunningListener, clients: ExitStack, half: bytes, count: int) -> int:
    """Let so many clients send a first half; return the most bytes that were held of them."""
    share = server.listener._roster.share
    most = sent = 0
    for number in range(count):
        client = clients.enter_context(server.stranger())
        client.send(connect(client_id=f"half-{number}"))
        assert client.packet() == b"\x20\x02\x00\x00"
        client.send(half)
        sent += len(half)
        wait_until(partial(has_read, server, sent))
        most = max(most, share._unfinished_bytes)
    return most


def has_read(server: RunningListener, size: int) -> bool:
    return server.listener.counts().bytes >= size


def test_strangers_get_small_buffers_and_short_first_packets(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.stranger() as client:
        client.send(packet(0x10, bytes(17 * 1024))[:100])
        assert client.is_closed()
        wait_until(lambda: server.listener.counts().dropped == {"protocol": 1})


def test_the_inbox_of_all_is_bounded_too(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(total_waiting_bytes=100_000)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client() as one,
        server.stranger() as other,
    ):
        other.send(connect(client_id="other"))
        other.packet()
        inbox.hold()
        one.send(publish(payload=bytes(150_000)))
        wait_until(lambda: inbox.taken == 1)
        other.send(publish(packet_id=2))  # what has come has come; from then on it is not read
        wait_until(lambda: inbox.taken == 2)
        other.send(publish(packet_id=3))
        other.sock.settimeout(0.2)
        with pytest.raises(TimeoutError):
            other.sock.recv(1)
        assert inbox.taken == 2
        inbox.release()
        other.sock.settimeout(WAIT_S)
        assert other.read(8).hex() == "4002000240020003"
        assert one.packet().hex() == "40020001"


def test_a_token_has_so_many_connections_and_a_client_may_come_again(
    inbox: RecordingInbox,
) -> None:
    limits = ListenerLimits(token_connections=1)
    with (
        running_listener(inbox, limits=limits) as server,
        server.client() as first,
        server.stranger() as second,
        server.stranger() as again,
    ):
        second.send(connect(5, client_id="another"))
        assert second.packet().hex() == "2003009700"  # quota exceeded
        again.send(connect())
        assert again.packet().hex() == "20020000"
        assert first.is_closed()


def test_a_client_identifier_may_be_so_long(inbox: RecordingInbox) -> None:
    longest = "é" * (CLIENT_ID_BYTES // 2)
    for level, client_id, answer in (
        (4, longest, "20020000"),
        (4, longest + "x", "20020002"),
        (5, longest + "x", "2003008500"),
    ):
        with running_listener(inbox) as server, server.stranger() as client:
            client.send(connect(level, client_id=client_id))
            assert client.packet().hex() == answer


def test_a_bug_is_counted(inbox: RecordingInbox) -> None:
    with running_listener(inbox) as server, server.client() as client:
        inbox.putting = ZeroDivisionError("a bug of ours")
        client.send(publish())
        assert client.is_closed()
        assert server.listener.counts().dropped == {"bug": 1}
