import pytest

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.packets import Publish
from tests.helpers.mqtt_packets import (
    publish,
    pubrel,
)
from tests.helpers.mqtt_sessions import open_session, refusal_of

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
