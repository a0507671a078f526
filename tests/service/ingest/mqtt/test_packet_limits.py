"""What one packet may hold, and how many of a kind: no sockets."""

import pytest

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.limits import (
    FILTERS,
    TOPIC_BYTES,
    TOPIC_LEVELS,
    USER_PROPERTIES,
    SessionLimits,
)
from joulebook.ingest.mqtt.packets import Publish
from tests.helpers.mqtt_packets import PINGREQ, packet, properties, publish, pubrel, text
from tests.helpers.mqtt_sessions import open_session, refusal_of


def topics(level: int, topic: str | bytes) -> list[str]:
    """Return the topics of what a session takes of one publish."""
    session = open_session(level)
    return [one.topic for one in session.receive(publish(topic, level=level), 101.0)]


# Topics


@pytest.mark.parametrize("level", [4, 5])
def test_a_topic_may_be_so_long_and_so_deep(level: int) -> None:
    longest = "a/" * (TOPIC_LEVELS - 1) + "b" * (TOPIC_BYTES - 2 * (TOPIC_LEVELS - 1))
    assert topics(level, longest) == [longest]
    for refused in ("b" + longest, "a/" * TOPIC_LEVELS + "b"):
        last = refusal_of(open_session(level), publish(refused, level=level))
        assert last == ("e00190" if level == 5 else "")


@pytest.mark.parametrize("level", [4, 5])
@pytest.mark.parametrize(
    "topic",
    [
        b"joulebook/v1/home/bat\x00tery",  # U+0000 (§1.5.3)
        b"\x00",
        "joulebook/v1/+/battery",  # wildcards (§4.7.1)
        "joulebook/v1/home/#",
        "#",
        b"joulebook/v1/home/\xc0\xafbattery",  # "/" overlong (RFC 3629 §10)
        b"joulebook/v1/home/\xc0\x80",  # NUL overlong
        b"joulebook/v1/home/\xe0\x80\xaf",
        b"joulebook/v1/home/\xed\xa0\x80",  # the surrogate U+D800 (§1.5.3)
        b"joulebook/v1/home/\xed\xb2\x80\xed\xa0\x80",
        b"joulebook/v1/home/\xf4\x90\x80\x80",  # beyond U+10FFFF
        b"joulebook/v1/home/\xff",
    ],
)
def test_topics_that_no_client_may_send_end_the_connection(level: int, topic: str | bytes) -> None:
    assert refusal_of(open_session(level), publish(topic, level=level)) == (
        "e00181" if level == 5 else ""
    )


@pytest.mark.parametrize(
    "topic", ["$SYS/broker/load", "$share/all/joulebook/v1/home/battery", "a\r\nb", "\x1b[2J"]
)
def test_topics_that_are_legal_and_not_ours_are_left_to_the_decoder(topic: str) -> None:
    # A topic with $ in front is a server's own affair (§4.7.2): it is set aside, as test_decode
    # shows for every topic that is not ours.
    assert topics(4, topic) == [topic]


# Properties and filters


def user_properties(count: int) -> bytes:
    return (b"\x26" + text("k") + text("v")) * count


def test_so_many_user_properties() -> None:
    session = open_session(5)
    taken = session.receive(publish(level=5, raw=user_properties(USER_PROPERTIES)), 101.0)
    assert [type(one) for one in taken] == [Publish]
    too_many = publish(level=5, raw=user_properties(USER_PROPERTIES + 1))
    assert refusal_of(session, too_many) == "e00197"


@pytest.mark.parametrize("level", [4, 5])
@pytest.mark.parametrize(("first", "options"), [(0x82, b"\x01"), (0xA2, b"")])
def test_so_many_filters_at_once(level: int, first: int, options: bytes) -> None:
    def request(count: int) -> bytes:
        return packet(first, b"\x00\x0a" + properties(level) + (text("a") + options) * count)

    session = open_session(level)
    assert session.receive(request(FILTERS), 101.0) == []
    assert len(session.outgoing()) >= 4
    assert refusal_of(session, request(FILTERS + 1)) == ("e00197" if level == 5 else "")


# Packets without a message


def test_a_client_may_ask_so_often() -> None:
    session = open_session(5, limits=SessionLimits(asks_per_s=2.0, asks_at_once=5.0))
    session.receive(PINGREQ * 4, 100.0)  # and the CONNECT
    assert session.outgoing() == b"\xd0\x00" * 4
    session.receive(PINGREQ, 100.5)
    assert session.outgoing() == b"\xd0\x00"
    assert refusal_of(session, PINGREQ * 10).endswith("e00196")
    assert session.fault == "more than 2 packets a second without a message"


def test_messages_that_bring_nothing_new_are_asks_too() -> None:
    limits = SessionLimits(asks_per_s=1.0, asks_at_once=3.0)
    session = open_session(5, limits=limits)
    session.receive(publish(level=5), 100.0)
    session.receive(publish(level=5, dup=True) * 2, 100.0)
    assert not session.over
    assert refusal_of(session, publish(level=5, dup=True) * 3) == "e00196"


def test_releasing_a_message_costs_nothing_and_releasing_none_does() -> None:
    session = open_session(4, limits=SessionLimits(asks_per_s=1.0, asks_at_once=2.0))
    for number in range(1, 30):
        published = session.receive(publish(qos=2, packet_id=number), 100.0)
        session.settle(published, [Verdict.STORED])
        session.receive(pubrel(number), 100.0)
    assert session.outgoing().endswith(b"\x70\x02\x00\x1d")  # PUBCOMP of the last
    assert refusal_of(session, pubrel(7) * 5) == "70020007" * 2


def test_so_many_messages_may_wait_for_their_release() -> None:
    session = open_session(4, limits=SessionLimits(unreleased=2))
    taken = session.receive(publish(qos=2, packet_id=1) + publish(qos=2, packet_id=2), 100.0)
    assert len(taken) == 2
    assert refusal_of(session, publish(qos=2, packet_id=3)) == ""
    assert session.fault == "more than 2 messages without a PUBREL"


# Time


def test_a_packet_has_to_end_in_time() -> None:
    session = open_session(4, limits=SessionLimits(packet_s=10.0))
    session.receive(PINGREQ[:1], 200.0)
    assert (session.deadline_s, session.unfinished_bytes) == (190.0, 1)  # keep alive 60 from 100
    session.receive(PINGREQ[1:], 200.0)
    assert session.deadline_s == 290.0
    half = publish()[:20]
    session.receive(half[:10], 205.0)
    session.receive(half[10:], 213.0)  # the same packet goes on
    assert (session.deadline_s, session.unfinished_bytes) == (215.0, 20)
    session.touch(214.0)  # it was not read
    assert session.deadline_s == 224.0
    session.receive(publish()[20:] + PINGREQ[:1], 220.0)
    assert (session.deadline_s, session.unfinished_bytes) == (230.0, 1)  # another packet
