"""Properties of MQTT 5.0 packets (§2.2.2): which there are, their types and where they may be."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

from joulebook.ingest.mqtt.fields import FieldReader, encode_varint
from joulebook.ingest.mqtt.limits import USER_PROPERTIES
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason, malformed

PropertyValue = int | str | bytes | list[tuple[str, str]]
Properties = dict[int, PropertyValue]


class Property(IntEnum):
    """Property identifiers (MQTT 5.0 Table 2-4): a client's, and those of our CONNACK."""

    PAYLOAD_FORMAT = 0x01
    MESSAGE_EXPIRY = 0x02
    CONTENT_TYPE = 0x03
    RESPONSE_TOPIC = 0x08
    CORRELATION_DATA = 0x09
    SUBSCRIPTION_ID = 0x0B
    SESSION_EXPIRY = 0x11
    ASSIGNED_CLIENT_ID = 0x12
    SERVER_KEEP_ALIVE = 0x13
    AUTHENTICATION_METHOD = 0x15
    AUTHENTICATION_DATA = 0x16
    REQUEST_PROBLEM_INFORMATION = 0x17
    WILL_DELAY = 0x18
    REQUEST_RESPONSE_INFORMATION = 0x19
    REASON_STRING = 0x1F
    RECEIVE_MAXIMUM = 0x21
    TOPIC_ALIAS_MAXIMUM = 0x22
    TOPIC_ALIAS = 0x23
    USER_PROPERTY = 0x26
    MAXIMUM_PACKET_SIZE = 0x27
    WILDCARD_AVAILABLE = 0x28
    SUBSCRIPTION_ID_AVAILABLE = 0x29
    SHARED_AVAILABLE = 0x2A


# Where a property may stand: the packet's name, and "will" for those of a will.
_MESSAGE = frozenset({"PUBLISH", "will"})
_ACKS = frozenset({"PUBACK", "PUBREC", "PUBREL", "PUBCOMP"})


@dataclass(frozen=True, slots=True)
class _Form:
    read: Callable[[FieldReader], int | str | bytes]
    places: frozenset[str]
    low: int = 0
    high: int = 0xFFFF_FFFF


def _on(*places: str) -> frozenset[str]:
    return frozenset(places)


# What a client may send; every other identifier is refused.
_FORMS: dict[int, _Form] = {
    Property.PAYLOAD_FORMAT: _Form(FieldReader.byte, _MESSAGE, high=1),
    Property.MESSAGE_EXPIRY: _Form(FieldReader.u32, _MESSAGE),
    Property.CONTENT_TYPE: _Form(FieldReader.text, _MESSAGE),
    Property.RESPONSE_TOPIC: _Form(FieldReader.topic, _MESSAGE),
    Property.CORRELATION_DATA: _Form(FieldReader.binary, _MESSAGE),
    Property.SUBSCRIPTION_ID: _Form(FieldReader.varint, _on("SUBSCRIBE"), low=1),
    Property.SESSION_EXPIRY: _Form(FieldReader.u32, _on("CONNECT", "DISCONNECT")),
    Property.AUTHENTICATION_METHOD: _Form(FieldReader.text, _on("CONNECT", "AUTH")),
    Property.AUTHENTICATION_DATA: _Form(FieldReader.binary, _on("CONNECT", "AUTH")),
    Property.REQUEST_PROBLEM_INFORMATION: _Form(FieldReader.byte, _on("CONNECT"), high=1),
    Property.WILL_DELAY: _Form(FieldReader.u32, _on("will")),
    Property.REQUEST_RESPONSE_INFORMATION: _Form(FieldReader.byte, _on("CONNECT"), high=1),
    Property.REASON_STRING: _Form(FieldReader.text, _ACKS | {"DISCONNECT", "AUTH"}),
    Property.RECEIVE_MAXIMUM: _Form(FieldReader.u16, _on("CONNECT"), low=1),
    Property.TOPIC_ALIAS_MAXIMUM: _Form(FieldReader.u16, _on("CONNECT")),
    Property.TOPIC_ALIAS: _Form(FieldReader.u16, _on("PUBLISH"), low=1),
    Property.MAXIMUM_PACKET_SIZE: _Form(FieldReader.u32, _on("CONNECT"), low=1),
}


def read_properties(fields: FieldReader, place: str) -> Properties:
    """Return the properties at ``fields``, their length first.

    Parameters
    ----------
    fields : FieldReader
        Left standing after the last property.
    place : str
        The packet they stand in, such as ``PUBLISH``, or ``will``.

    Raises
    ------
    ProtocolError
        If one is unknown, not allowed in this place, given twice, or out of its range; or where
        there are too many of a user's own.
    """
    length = fields.varint()
    end = fields.at + length
    if end > fields.stop:
        raise malformed("properties run past the end of their packet")
    packet_end, fields.stop = fields.stop, end
    found: Properties = {}
    pairs: list[tuple[str, str]] = []
    while fields.more():
        identifier = fields.varint()
        if identifier == Property.USER_PROPERTY:
            pairs.append((fields.text(), fields.text()))
            if len(pairs) > USER_PROPERTIES:
                what = f"more than {USER_PROPERTIES} user properties in one packet"
                raise ProtocolError(Reason.QUOTA_EXCEEDED, what)
        elif identifier in found:
            raise ProtocolError(Reason.PROTOCOL_ERROR, f"property {identifier:#04x} is given twice")
        else:
            found[identifier] = _read_one(fields, identifier, place)
    if pairs:
        found[Property.USER_PROPERTY] = pairs
    if Property.AUTHENTICATION_DATA in found and Property.AUTHENTICATION_METHOD not in found:
        raise ProtocolError(Reason.PROTOCOL_ERROR, "authentication data without a method")
    fields.stop = packet_end
    return found


def _read_one(fields: FieldReader, identifier: int, place: str) -> int | str | bytes:
    form = _FORMS.get(identifier)
    if form is None or place not in form.places:
        raise malformed(f"property {identifier:#04x} has no place in {place}")
    value = form.read(fields)
    if isinstance(value, int) and not form.low <= value <= form.high:
        alias = identifier == Property.TOPIC_ALIAS
        reason = Reason.TOPIC_ALIAS_INVALID if alias else Reason.PROTOCOL_ERROR
        raise ProtocolError(reason, f"property {identifier:#04x} cannot be {value}")
    return value


_SENT_WIDTH = {
    Property.SESSION_EXPIRY: 4,
    Property.SERVER_KEEP_ALIVE: 2,
    Property.RECEIVE_MAXIMUM: 2,
    Property.MAXIMUM_PACKET_SIZE: 4,
    Property.WILDCARD_AVAILABLE: 1,
    Property.SUBSCRIPTION_ID_AVAILABLE: 1,
    Property.SHARED_AVAILABLE: 1,
}


def encode_properties(properties: dict[Property, int | str]) -> bytes:
    """Return the properties of a CONNACK behind their length; the only ones that we send."""
    body = bytearray()
    for identifier, value in properties.items():
        body.append(identifier)
        if isinstance(value, str):
            raw = value.encode()
            body += len(raw).to_bytes(2) + raw
        else:
            body += value.to_bytes(_SENT_WIDTH[identifier])
    return encode_varint(len(body)) + body
