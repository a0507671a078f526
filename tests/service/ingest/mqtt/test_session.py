import pytest

from joulebook.ingest.mqtt.handshake import Login
from joulebook.ingest.mqtt.reasons import Reason
from tests.helpers.mqtt_packets import (
    DISCONNECT,
    PINGREQ,
    connect,
    packet,
    properties,
    publish,
    text,
)
from tests.helpers.mqtt_sessions import new_session, open_session, refusal_of

# Logging in


def test_nothing_is_read_until_the_client_is_let_in() -> None:
    session = new_session()
    assert session.receive(connect() + publish(qos=0), 100.0) == []
    assert session.login == Login("bridge1", "bridge1", "secret")
    assert session.receive(publish(payload=b"2", qos=0), 100.0) == []
    assert session.outgoing() == b""
    payloads = [one.payload for one in session.admit(101.0)]
    assert payloads == [b"[]", b"2"]
    assert session.outgoing() == b"\x20\x02\x00\x00"
    assert session.login is None


def test_a_client_that_is_turned_away() -> None:
    session = new_session()
    session.receive(connect() + publish(), 100.0)
    session.refuse(Reason.BAD_CREDENTIALS)
    assert session.outgoing() == b"\x20\x02\x00\x04"
    assert session.over
    assert session.login is None
    assert session.receive(publish(), 100.0) == []


def test_a_connect_that_cannot_be_granted() -> None:
    session = new_session()
    session.receive(packet(0x10, text("MQTT") + b"\x06"), 100.0)
    assert session.outgoing() == b"\x20\x03\x00\x84\x00"
    assert session.over
    assert session.fault is None


@pytest.mark.parametrize("level", [4, 5])
def test_a_connect_that_is_malformed_closes(level: int) -> None:
    assert refusal_of(new_session(), connect(level, name="a\0")) == ""


@pytest.mark.parametrize(("level", "last"), [(4, ""), (5, "e00182")])
def test_a_second_connect(level: int, last: str) -> None:  # §3.1
    assert refusal_of(open_session(level), connect(level)) == last
    assert refusal_of(open_session(level), packet(0x10, text("MQTT") + b"\x03")) == last


def test_a_connack_longer_than_the_client_takes_is_not_sent() -> None:  # 5.0 §3.1.2.11.4
    session = new_session()
    session.receive(connect(5, raw=b"\x27\x00\x00\x00\x08"), 100.0)
    session.admit(100.0)
    session.receive(PINGREQ, 100.0)
    assert session.outgoing() == b"\xd0\x00"


# Everything else


@pytest.mark.parametrize(
    ("level", "suback", "unsuback"),
    [(4, "9004000a8080", "b002000a"), (5, "9005000a008787", "b004000a0011")],
)
def test_nobody_can_subscribe(level: int, suback: str, unsuback: str) -> None:  # CV-43d
    session = open_session(level)
    filters = text("#") + b"\x01" + text("a/+") + b"\x00"
    session.receive(packet(0x82, b"\x00\x0a" + properties(level) + filters), 100.0)
    assert session.outgoing().hex() == suback
    session.receive(packet(0xA2, b"\x00\x0a" + properties(level) + text("#")), 100.0)
    assert session.outgoing().hex() == unsuback


def test_pings_are_answered() -> None:
    session = open_session(4)
    session.receive(PINGREQ + PINGREQ, 100.0)
    assert session.outgoing().hex() == "d000d000"


@pytest.mark.parametrize("level", [4, 5])
def test_nothing_is_read_after_a_disconnect(level: int) -> None:  # §3.14.4
    session = open_session(level)
    assert session.receive(DISCONNECT + publish(level=level), 100.0) == []
    assert session.over
    assert session.fault is None
    assert session.outgoing() == b""


def test_a_session_cannot_be_prolonged_by_a_disconnect() -> None:  # 5.0 §3.14.2.2.2
    farewell = bytes.fromhex("E007 00 05 1100000009")
    assert refusal_of(open_session(5), farewell) == "e00182"
    session = open_session(5, raw=b"\x11\x00\x00\x00\x0a")
    session.receive(farewell, 100.0)
    assert (session.over, session.fault) == (True, None)


@pytest.mark.parametrize("raw", ["40020001", "50020001", "70020001", "F000"])
def test_answers_to_nothing(raw: str) -> None:
    assert refusal_of(open_session(5), bytes.fromhex(raw)) == "e00182"


def test_a_will_is_checked_and_forgotten() -> None:
    session = new_session()
    session.receive(connect(will=("joulebook/v1/home/battery", b"[]", 1, True)), 100.0)
    assert session.admit(100.0) == []
    session.disconnect(Reason.KEEP_ALIVE_TIMEOUT)
    assert session.outgoing() == b"\x20\x02\x00\x00"
    assert refusal_of(new_session(), connect(will=("a/#", b"", 1, True))) == ""


# Time


def test_keep_alive() -> None:
    # CV-46: MQTT 3.1.1 §3.1.2.10: one and a half times.
    session = open_session(4)
    assert session.deadline_s == 190.0
    session.receive(PINGREQ[:1], 150.0)  # half a packet is none
    assert session.deadline_s == 190.0
    session.receive(PINGREQ[1:], 151.0)
    assert session.deadline_s == 241.0
    session.touch(160.0)
    assert session.deadline_s == 250.0


def test_no_keep_alive() -> None:  # CV-46
    session = new_session()
    session.receive(connect(keep_alive_s=0), 100.0)
    assert session.deadline_s is None
    session.admit(100.0)
    assert session.deadline_s is None


def test_the_longest_keep_alive() -> None:
    # CV-46: 18 hours, 12 minutes and 15 seconds.
    session = new_session()
    session.receive(connect(keep_alive_s=65535), 0.0)
    session.admit(0.0)
    assert session.deadline_s == 1.5 * (18 * 3600 + 12 * 60 + 15)


@pytest.mark.parametrize(("level", "last"), [(4, ""), (5, "e0018d")])
def test_our_own_good_bye(level: int, last: str) -> None:
    session = open_session(level)
    session.disconnect(Reason.KEEP_ALIVE_TIMEOUT)
    assert session.over
    assert session.deadline_s is None
    assert session.outgoing().hex() == last
