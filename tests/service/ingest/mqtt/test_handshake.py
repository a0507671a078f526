from typing import Any

import pytest
from paho.mqtt import properties as paho_properties
from paho.mqtt.packettypes import PacketTypes

from joulebook.ingest.mqtt.handshake import (
    Login,
    Terms,
    answer_connect,
    refusal,
)
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.packets import Connect, UnknownLevel
from joulebook.ingest.mqtt.reader import PacketReader
from joulebook.ingest.mqtt.reasons import Reason
from tests.helpers.mqtt_packets import connect, text

Properties: Any = paho_properties.Properties  # untyped


def answer(raw: bytes) -> Terms | bytes:
    reader = PacketReader(1024 * 1024)
    reader.feed(raw)
    packet = reader.next_packet()
    assert isinstance(packet, Connect | UnknownLevel)
    return answer_connect(packet, SessionLimits(), "joulebook-1")


def terms(raw: bytes) -> Terms:
    found = answer(raw)
    assert isinstance(found, Terms)
    return found


def told(raw: bytes) -> dict[str, object]:
    """Return what a 5.0 client reads in its CONNACK, as paho decodes it."""
    welcome = terms(raw).welcome
    assert welcome[:1] + welcome[2:4] == b"\x20\x00\x00"  # session present 0, reason 0
    properties = Properties(PacketTypes.CONNACK)
    properties.unpack(welcome[4:])
    return dict(properties.json())


USUAL = {
    "ReceiveMaximum": 1000,
    "MaximumPacketSize": 1024 * 1024,
    "WildcardSubscriptionAvailable": 0,
    "SubscriptionIdentifierAvailable": 0,
    "SharedSubscriptionAvailable": 0,
}


def test_3_1_1_is_let_in_under_its_own_terms() -> None:
    found = terms(connect(keep_alive_s=65535))
    assert found.welcome == b"\x20\x02\x00\x00"
    assert found.login == Login("bridge1", "bridge1", "secret")
    assert found.keep_alive_s == 65535


def test_5_0_is_told_what_it_could_not_assume() -> None:
    assert told(connect(5)) == USUAL  # no topic aliases: the default is none


def test_a_client_without_identifier_gets_one() -> None:
    assert told(connect(5, client_id="")) == USUAL | {"AssignedClientIdentifier": "joulebook-1"}
    assert terms(connect(5, client_id="")).login.client_id == "joulebook-1"
    assert terms(connect(4, client_id="")).login.client_id == "joulebook-1"


def test_no_identifier_and_a_session_to_keep() -> None:
    # CV-43f: MQTT 3.1.1 §3.1.3.1.
    assert answer(connect(4, client_id="", clean=False)) == b"\x20\x02\x00\x02"


@pytest.mark.parametrize("asked_s", [0, 3601, 65535])
def test_5_0_is_told_a_shorter_keep_alive(asked_s: int) -> None:
    raw = connect(5, keep_alive_s=asked_s)
    assert told(raw) == USUAL | {"ServerKeepAlive": 3600}
    assert terms(raw).keep_alive_s == 3600


def test_a_keep_alive_as_asked() -> None:
    assert told(connect(5, keep_alive_s=3600)) == USUAL
    assert terms(connect(4, keep_alive_s=0)).keep_alive_s == 0


def test_a_session_ends_with_its_connection() -> None:
    raw = connect(5, raw=b"\x11\x00\x00\x00\x0a")
    assert told(raw) == USUAL | {"SessionExpiryInterval": 0}
    assert not terms(raw).ends_with_connection
    assert terms(connect(5)).ends_with_connection


def test_the_longest_packet_that_the_client_takes() -> None:
    assert terms(connect(5, raw=b"\x27\x00\x00\x00\x50")).packet_limit == 80


def test_enhanced_authentication_is_refused() -> None:
    assert answer(connect(5, raw=b"\x15" + text("SCRAM-SHA-256"))) == b"\x20\x03\x00\x8c\x00"


def test_a_password_need_not_be_text() -> None:
    assert terms(connect(secret=b"\xff")).login.secret == "\ufffd"
    assert terms(connect(name=None, secret=None)).login == Login("bridge1", None, None)


def test_other_levels_are_told_in_their_own_way() -> None:
    # CV-42b: MQTT 3.1.1 §3.1.2.2; MQTT 5.0 §3.1.2.2.
    assert answer_connect(UnknownLevel(3), SessionLimits(), "x") == b"\x20\x02\x00\x01"
    assert answer_connect(UnknownLevel(6), SessionLimits(), "x") == b"\x20\x03\x00\x84\x00"


def test_refusals() -> None:
    assert refusal(4, Reason.BAD_CREDENTIALS) == b"\x20\x02\x00\x04"
    assert refusal(4, Reason.UNAVAILABLE) == b"\x20\x02\x00\x03"
    assert refusal(5, Reason.BAD_CREDENTIALS) == b"\x20\x03\x00\x86\x00"
    assert refusal(5, Reason.UNAVAILABLE) == b"\x20\x03\x00\x88\x00"
