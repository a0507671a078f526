"""Bytes that no client should send: the codec has one error for them, and the server stays."""

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.reader import PacketReader
from joulebook.ingest.mqtt.reasons import ProtocolError
from joulebook.ingest.mqtt.session import ServerSession
from tests.helpers.fuzz_corpus import each_kind
from tests.helpers.mqtt_inbox import RecordingInbox
from tests.helpers.mqtt_packets import (
    connect,
    publish,
)
from tests.helpers.mqtt_server import running_listener

TOPIC = "joulebook/v1/home/battery"


def mutated(rng: random.Random, raw: bytes) -> bytes:
    """Return the packet with a few bytes changed, left out, doubled or put in."""
    out = bytearray(raw)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(out) + 1)
        change = rng.randrange(4)
        if change == 0:
            out[at : at + 1] = bytes((rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)]),))
        elif change == 1:
            del out[at : at + rng.randint(1, 3)]
        elif change == 2:
            out[at:at] = out[at : at + rng.randint(1, 8)]
        else:
            out[at:at] = rng.randbytes(rng.randint(1, 3))
    return bytes(out)


def drain(reader: PacketReader) -> bool:
    """Read all packets; tell whether the bytes were refused."""
    try:
        while reader.next_packet() is not None:
            pass
    except ProtocolError:
        return True
    return False


@pytest.mark.parametrize("level", [4, 5])
def test_mutated_packets_raise_nothing_but_the_codecs_error(level: int) -> None:
    rng = random.Random(level)
    refused = 0
    for _ in range(500):
        for raw in each_kind(level, TOPIC):
            reader = PacketReader(1024 * 1024)
            reader.feed(connect(level))
            reader.next_packet()
            reader.feed(mutated(rng, raw))
            refused += drain(reader)
    assert 1000 < refused < 5500  # many are refused, and some changes are harmless


@pytest.mark.parametrize("level", [4, 5])
def test_mutated_connects_raise_nothing_but_the_codecs_error(level: int) -> None:
    rng = random.Random(level)
    refused = 0
    for _ in range(2000):
        reader = PacketReader(1024 * 1024)
        reader.feed(mutated(rng, each_kind(level, TOPIC)[0]))
        refused += drain(reader)
    assert 500 < refused < 2000


@settings(derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from([b"", connect(), connect(5)]), st.binary(max_size=200))
def test_any_bytes_raise_nothing_but_the_codecs_error(start: bytes, noise: bytes) -> None:
    reader = PacketReader(1024 * 1024)
    reader.feed(start + noise)
    drain(reader)


@pytest.mark.parametrize("level", [4, 5])
def test_a_session_survives_any_order_of_packets(level: int) -> None:
    rng = random.Random(level)
    for _ in range(300):
        session = ServerSession(SessionLimits(receive_maximum=4), new_client_id="x", now_s=0.0)
        session.receive(connect(level), 0.0)
        session.admit(0.0)
        waiting = []
        for _ in range(30):
            one = rng.choice(each_kind(level, TOPIC)[1:5])
            raw = mutated(rng, one) if rng.random() < 0.1 else one
            waiting += session.receive(raw, 0.0)
            if waiting and rng.random() < 0.5:
                settled = rng.randint(1, len(waiting))
                session.settle(waiting[:settled], rng.choices(list(Verdict), k=settled))
                del waiting[:settled]
        assert session.over is (session.fault is not None)  # no DISCONNECT was among them
        said = session.outgoing()
        assert said[:1] == b"\x20"
        assert (said[-3:-1] == b"\xe0\x01") is (session.over and level == 5)


@pytest.mark.parametrize("level", [4, 5])
def test_the_server_stays_whatever_arrives(level: int) -> None:
    rng = random.Random(level)
    inbox = RecordingInbox()
    with running_listener(inbox) as server:
        for n in range(100):
            with server.stranger() as client:
                start = b"" if n % 4 == 0 else connect(level, client_id=f"c{n}")
                noise = b"".join(mutated(rng, raw) for raw in each_kind(level, TOPIC))
                client.send(start + noise)
        with server.client(level) as client:
            client.send(publish(level=level, payload=b"still here"))
            assert client.packet().hex() == "40020001"
    inbox.stop()
    assert inbox.payloads()[-1] == b"still here"
