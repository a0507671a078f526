import pytest

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.handshake import Login, SessionLimits
from joulebook.ingest.mqtt.packets import Publish
from joulebook.ingest.mqtt.reasons import Reason
from joulebook.ingest.mqtt.session import ServerSession
from tests.helpers.mqtt_packets import (
    DISCONNECT,
    PINGREQ,
    connect,
    packet,
    properties,
    publish,
    pubrel,
    text,
)


def new_session(limits: SessionLimits | None = None) -> ServerSession:
    return ServerSession(limits or SessionLimits(), new_client_id="joulebook-1", now_s=100.0)


def open_session(
    level: int, *, limits: SessionLimits | None = None, raw: bytes = b""
) -> ServerSession:
    """Return a session whose client is let in and has read its CONNACK."""
    session = new_session(limits)
    assert session.receive(connect(level, raw=raw), 100.0) == []
    session.admit(100.0)
    session.outgoing()
    return session


def refusal_of(session: ServerSession, raw: bytes) -> str:
    """Return what is sent as the session ends for a fault of its client's."""
    assert not session.over
    session.receive(raw, 101.0)
    assert session.over
    assert session.fault is not None
    return session.outgoing().hex()


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


# Messages


@pytest.mark.parametrize("level", [4, 5])
def test_qos_0_has_no_answer(level: int) -> None:
    session = open_session(level)
    published = session.receive(publish(level=level, qos=0), 100.0)
    session.settle(published, [Verdict.STORED])
    assert len(published) == 1
    assert session.outgoing() == b""


@pytest.mark.parametrize("level", [4, 5])
def test_qos_1_is_answered_when_it_is_settled(level: int) -> None:
    # CV-43: PUBACK 40 02 12 34.
    session = open_session(level)
    published = session.receive(publish(level=level, packet_id=0x1234), 100.0)
    assert session.outgoing() == b""
    session.settle(published, [Verdict.STORED])
    assert session.outgoing().hex() == "40021234"
    again = session.receive(publish(level=level, packet_id=0x1234, dup=True), 100.0)  # CV-43b
    session.settle(again, [Verdict.STORED])
    assert session.outgoing().hex() == "40021234"


def test_answers_keep_the_order_of_the_messages() -> None:  # §4.6
    session = open_session(4)
    stream = b"".join(publish(packet_id=n) for n in (3, 1, 2))
    session.settle(session.receive(stream, 100.0), [Verdict.STORED] * 3)
    assert session.outgoing().hex() == "400200034002000140020002"


@pytest.mark.parametrize(
    ("verdict", "reason"),
    [
        (Verdict.STORED, ""),
        (Verdict.QUARANTINED, ""),
        (Verdict.NOT_AUTHORISED, "87"),
        (Verdict.TOPIC_INVALID, "90"),
    ],
)
def test_what_a_5_0_client_hears(verdict: Verdict, reason: str) -> None:
    session = open_session(5)
    published = session.receive(publish(level=5) + publish(level=5, qos=2), 100.0)
    session.settle(published, [verdict, verdict])
    length = "03" if reason else "02"
    assert session.outgoing().hex() == f"40{length}0001{reason}50{length}0001{reason}"


@pytest.mark.parametrize("verdict", list(Verdict))
def test_3_1_1_has_no_way_to_refuse_a_message(verdict: Verdict) -> None:
    session = open_session(4)
    published = session.receive(publish() + publish(qos=2, packet_id=2), 100.0)
    session.settle(published, [verdict, verdict])
    assert session.outgoing().hex() == "40020001" + "50020002"


@pytest.mark.parametrize("level", [4, 5])
def test_qos_2_once_and_no_more(level: int) -> None:  # §4.3.3
    session = open_session(level)
    raw = publish(level=level, qos=2, packet_id=9)
    again = publish(level=level, qos=2, packet_id=9, dup=True)
    published = session.receive(raw, 100.0)
    assert session.receive(again, 100.0) == []  # with the inbox: no answer yet
    assert session.outgoing() == b""
    session.settle(published, [Verdict.STORED])
    assert session.outgoing().hex() == "50020009"
    assert session.receive(again + raw, 100.0) == []
    assert session.outgoing().hex() == "5002000950020009"
    session.receive(pubrel(9), 100.0)
    assert session.outgoing().hex() == "70020009"
    assert len(session.receive(raw, 100.0)) == 1  # the id is free: another message


def test_a_refused_qos_2_message_frees_its_id() -> None:
    # MQTT 5.0 §4.3.3: after PUBREC with 80h or more the sender treats it as done.
    session = open_session(5)
    raw = publish(level=5, qos=2)
    session.settle(session.receive(raw, 100.0), [Verdict.TOPIC_INVALID])
    assert len(session.receive(raw, 100.0)) == 1


@pytest.mark.parametrize(("level", "answer"), [(4, "70020005"), (5, "7003000592")])
def test_a_pubrel_of_an_earlier_connection(level: int, answer: str) -> None:
    session = open_session(level)
    session.receive(pubrel(5), 100.0)
    assert session.outgoing().hex() == answer
    assert not session.over


@pytest.mark.parametrize(("level", "last"), [(4, ""), (5, "e00182")])
def test_a_pubrel_before_its_pubrec(level: int, last: str) -> None:
    session = open_session(level)
    session.receive(publish(level=level, qos=2, packet_id=5), 100.0)
    assert refusal_of(session, pubrel(5)) == last


def test_a_repeat_of_a_message_that_is_with_the_inbox() -> None:
    session = open_session(4)
    published = session.receive(publish(), 100.0)
    assert session.receive(publish(dup=True), 100.0) == []
    session.settle(published, [Verdict.STORED])
    assert session.outgoing().hex() == "40020001"


def test_another_message_under_an_id_in_use_is_not_lost() -> None:
    session = open_session(4)
    published = session.receive(publish() + publish(payload=b"other"), 100.0)
    assert [one.payload for one in published] == [b"[]", b"other"]
    session.settle(published, [Verdict.STORED] * 2)
    assert session.outgoing().hex() == "4002000140020001"


def test_messages_before_a_fault_are_kept() -> None:
    session = open_session(5)
    published = session.receive(publish(level=5) + publish(level=5, qos=3), 100.0)
    assert [type(one) for one in published] == [Publish]
    assert session.outgoing().hex() == "e00181"
    session.settle(published, [Verdict.STORED])  # too late to tell
    assert session.outgoing() == b""


def test_receive_maximum() -> None:  # MQTT 5.0 §3.3.4, §4.9
    limits = SessionLimits(receive_maximum=3)
    stream = b"".join(publish(level=5, packet_id=n, qos=1 + n % 2) for n in (1, 2, 3))
    session = open_session(5, limits=limits)
    published = session.receive(stream, 100.0)
    session.settle(published[1:2], [Verdict.STORED])  # QoS 1: counted no more
    assert len(session.receive(publish(level=5, packet_id=4), 100.0)) == 1
    session.settle(published[:1], [Verdict.STORED])  # QoS 2: counted until PUBCOMP
    session.outgoing()
    assert refusal_of(session, publish(level=5, packet_id=5)) == "e00193"

    session = open_session(5, limits=limits)
    published = session.receive(stream, 100.0)
    session.settle(published[:1], [Verdict.STORED])
    session.receive(pubrel(1), 100.0)
    assert len(session.receive(publish(level=5, packet_id=5), 100.0)) == 1

    session = open_session(5, limits=limits)
    published = session.receive(stream, 100.0)
    session.settle(published[:1], [Verdict.NOT_AUTHORISED])  # PUBREC with 87h: counted no more
    assert len(session.receive(publish(level=5, packet_id=5), 100.0)) == 1


def test_3_1_1_knows_no_receive_maximum() -> None:
    session = open_session(4, limits=SessionLimits(receive_maximum=1))
    assert len(session.receive(publish() + publish(packet_id=2), 100.0)) == 2


def test_topic_aliases_were_not_agreed() -> None:  # MQTT 5.0 §3.3.2.3.4
    with_alias = publish(level=5, raw=b"\x23\x00\x01")
    assert refusal_of(open_session(5), with_alias) == "e00194"


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
