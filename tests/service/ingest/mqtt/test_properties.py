from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from paho.mqtt import properties as paho_properties
from paho.mqtt.packettypes import PacketTypes

from joulebook.ingest.mqtt.fields import FieldReader, encode_varint
from joulebook.ingest.mqtt.properties import Property, encode_properties, read_properties
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason
from tests.helpers.mqtt_packets import text

PahoProperties: Any = paho_properties.Properties  # untyped

PACKETS = {
    "CONNECT": PacketTypes.CONNECT,
    "will": PacketTypes.WILLMESSAGE,
    "PUBLISH": PacketTypes.PUBLISH,
    "PUBACK": PacketTypes.PUBACK,
    "PUBREC": PacketTypes.PUBREC,
    "PUBREL": PacketTypes.PUBREL,
    "PUBCOMP": PacketTypes.PUBCOMP,
    "SUBSCRIBE": PacketTypes.SUBSCRIBE,
    "UNSUBSCRIBE": PacketTypes.UNSUBSCRIBE,
    "DISCONNECT": PacketTypes.DISCONNECT,
    "AUTH": PacketTypes.AUTH,
}
WORDS = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\0+#"), max_size=9)
TOPICS = WORDS.filter(bool)

# Name at paho, values: what each property may hold (MQTT 5.0 §3.1.2.11, §3.3.2.3 and others).
VALUES: dict[Property, tuple[str, st.SearchStrategy[Any]]] = {
    Property.PAYLOAD_FORMAT: ("PayloadFormatIndicator", st.integers(0, 1)),
    Property.MESSAGE_EXPIRY: ("MessageExpiryInterval", st.integers(0, 2**32 - 1)),
    Property.CONTENT_TYPE: ("ContentType", WORDS),
    Property.RESPONSE_TOPIC: ("ResponseTopic", TOPICS),
    Property.CORRELATION_DATA: ("CorrelationData", st.binary(max_size=9)),
    Property.SUBSCRIPTION_ID: ("SubscriptionIdentifier", st.integers(1, 268435455)),
    Property.SESSION_EXPIRY: ("SessionExpiryInterval", st.integers(0, 2**32 - 1)),
    Property.AUTHENTICATION_METHOD: ("AuthenticationMethod", WORDS),
    Property.REQUEST_PROBLEM_INFORMATION: ("RequestProblemInformation", st.integers(0, 1)),
    Property.WILL_DELAY: ("WillDelayInterval", st.integers(0, 2**32 - 1)),
    Property.REQUEST_RESPONSE_INFORMATION: ("RequestResponseInformation", st.integers(0, 1)),
    Property.REASON_STRING: ("ReasonString", WORDS),
    Property.RECEIVE_MAXIMUM: ("ReceiveMaximum", st.integers(1, 65535)),
    Property.TOPIC_ALIAS_MAXIMUM: ("TopicAliasMaximum", st.integers(0, 65535)),
    Property.TOPIC_ALIAS: ("TopicAlias", st.integers(1, 65535)),
    Property.MAXIMUM_PACKET_SIZE: ("MaximumPacketSize", st.integers(1, 2**32 - 1)),
    Property.USER_PROPERTY: ("UserProperty", st.lists(st.tuples(WORDS, WORDS), min_size=1)),
}


# Where paho, an implementation that is not ours, allows each property.
PAHO_PLACES: dict[int, list[int]] = {
    identifier: kinds
    for identifier, (_, kinds) in PahoProperties(PacketTypes.CONNECT).properties.items()
}


def may_stand(identifier: int, place: str) -> bool:
    if (identifier, place) == (Property.SUBSCRIPTION_ID, "PUBLISH"):
        return False  # from a server only: MQTT 5.0 §3.3.4
    if identifier == 0x1C:
        return False  # Server Reference is a server's: §3.14.2.2.5
    return PACKETS[place] in PAHO_PLACES[identifier]


def read(raw: bytes, place: str) -> dict[int, Any]:
    fields = FieldReader(raw, 0, len(raw))
    found = read_properties(fields, place)
    fields.end()
    return found


def block(raw: bytes) -> bytes:
    return encode_varint(len(raw)) + raw


@settings(derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_what_paho_writes_is_read(data: st.DataObject) -> None:
    place = data.draw(st.sampled_from(sorted(PACKETS)))
    allowed = [one for one in VALUES if may_stand(one, place)]
    chosen = data.draw(st.lists(st.sampled_from(allowed), unique=True))
    expected = {one: data.draw(VALUES[one][1], label=one.name) for one in chosen}
    written = PahoProperties(PACKETS[place])
    for one, value in expected.items():
        setattr(written, VALUES[one][0], value)
    assert read(written.pack(), place) == expected


# A legal value for every identifier of MQTT 5.0 Table 2-4, a server's included.
ONE_OF_EACH = {
    0x01: b"\x01", 0x02: bytes(4), 0x03: text("a"), 0x08: text("a"), 0x09: text(b"\x00"),
    0x0B: b"\x01", 0x11: bytes(4), 0x12: text("a"), 0x13: bytes(2), 0x15: text("a"),
    0x16: text(b"\x00"), 0x17: b"\x01", 0x18: bytes(4), 0x19: b"\x01", 0x1A: text("a"),
    0x1C: text("a"), 0x1F: text("a"), 0x21: b"\x00\x01", 0x22: bytes(2), 0x23: b"\x00\x01",
    0x24: b"\x01", 0x25: b"\x01", 0x26: text("a") + text("b"), 0x27: b"\x00\x00\x00\x01",
    0x28: b"\x01", 0x29: b"\x01", 0x2A: b"\x01",
}  # fmt: skip


@pytest.mark.parametrize("place", PACKETS)
@pytest.mark.parametrize("identifier", ONE_OF_EACH)
def test_each_property_has_its_places(identifier: int, place: str) -> None:
    raw = bytes((identifier,)) + ONE_OF_EACH[identifier]
    if identifier == Property.AUTHENTICATION_DATA:
        raw += b"\x15" + text("a")  # it may not come alone
    if may_stand(identifier, place):
        assert identifier in read(block(raw), place)
    else:
        with pytest.raises(ProtocolError, match="no place in") as caught:
            read(block(raw), place)
        assert caught.value.reason is Reason.MALFORMED


@pytest.mark.parametrize("identifier", sorted(set(ONE_OF_EACH) - {Property.USER_PROPERTY}))
def test_only_user_properties_may_come_twice(identifier: int) -> None:  # §2.2.2.2, §3.1.2.11
    raw = bytes((identifier,)) + ONE_OF_EACH[identifier]
    for place in PACKETS:
        if may_stand(identifier, place):
            with pytest.raises(ProtocolError, match="twice") as caught:
                read(block(raw + raw), place)
            assert caught.value.reason is Reason.PROTOCOL_ERROR


@pytest.mark.parametrize("identifier", [0x00, 0x04, 0x2B, 0x7F, 0x80])
def test_unknown_identifiers_are_malformed(identifier: int) -> None:
    with pytest.raises(ProtocolError) as caught:
        read(block(encode_varint(identifier) + b"\x00"), "CONNECT")
    assert caught.value.reason is Reason.MALFORMED


@pytest.mark.parametrize(
    ("raw", "place", "reason"),
    [
        ("0102", "PUBLISH", Reason.PROTOCOL_ERROR),  # payload format 2: §3.3.2.3.2
        ("0B00", "SUBSCRIBE", Reason.PROTOCOL_ERROR),  # subscription 0: §3.8.2.1.2
        ("1702", "CONNECT", Reason.PROTOCOL_ERROR),  # §3.1.2.11.7
        ("1902", "CONNECT", Reason.PROTOCOL_ERROR),  # §3.1.2.11.6
        ("210000", "CONNECT", Reason.PROTOCOL_ERROR),  # receive maximum 0: §3.1.2.11.3
        ("2700000000", "CONNECT", Reason.PROTOCOL_ERROR),  # §3.1.2.11.4
        ("230000", "PUBLISH", Reason.TOPIC_ALIAS_INVALID),  # topic alias 0: §3.3.2.3.4
        ("16000101", "CONNECT", Reason.PROTOCOL_ERROR),  # data without method: §3.1.2.11.10
        ("0800012B", "PUBLISH", Reason.MALFORMED),  # response topic "+": §3.3.2.3.5
        ("080000", "PUBLISH", Reason.MALFORMED),
        ("030001", "PUBLISH", Reason.MALFORMED),  # cut off
        ("26000161", "PUBLISH", Reason.MALFORMED),
    ],
)
def test_values_that_are_not_legal(raw: str, place: str, reason: Reason) -> None:
    with pytest.raises(ProtocolError) as caught:
        read(block(bytes.fromhex(raw)), place)
    assert caught.value.reason is reason


def test_properties_end_with_their_packet() -> None:
    with pytest.raises(ProtocolError, match="past the end"):
        read(b"\x05\x01\x01", "PUBLISH")


def test_reading_stops_after_the_properties() -> None:
    fields = FieldReader(b"\x02\x01\x01rest", 0, 7)
    assert read_properties(fields, "PUBLISH") == {Property.PAYLOAD_FORMAT: 1}
    assert (fields.at, fields.stop) == (3, 7)


def test_what_we_write_paho_reads() -> None:
    written = encode_properties(
        {
            Property.RECEIVE_MAXIMUM: 1000,
            Property.MAXIMUM_PACKET_SIZE: 2**20,
            Property.WILDCARD_AVAILABLE: 0,
            Property.SUBSCRIPTION_ID_AVAILABLE: 0,
            Property.SHARED_AVAILABLE: 0,
            Property.SESSION_EXPIRY: 0,
            Property.ASSIGNED_CLIENT_ID: "studio-1",
            Property.SERVER_KEEP_ALIVE: 3600,
        }
    )
    told = PahoProperties(PacketTypes.CONNACK)
    told.unpack(written)
    assert told.json() == {
        "ReceiveMaximum": 1000,
        "MaximumPacketSize": 2**20,
        "WildcardSubscriptionAvailable": 0,
        "SubscriptionIdentifierAvailable": 0,
        "SharedSubscriptionAvailable": 0,
        "SessionExpiryInterval": 0,
        "AssignedClientIdentifier": "studio-1",
        "ServerKeepAlive": 3600,
    }
