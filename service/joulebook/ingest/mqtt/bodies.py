"""How the body of each packet is read: everything but PUBLISH, which the reader does itself."""

from joulebook.ingest.mqtt.fields import FieldReader
from joulebook.ingest.mqtt.limits import FILTERS
from joulebook.ingest.mqtt.packets import (
    Ack,
    Auth,
    Connect,
    Disconnect,
    PacketType,
    Subscribe,
    UnknownLevel,
    Unsubscribe,
    Will,
)
from joulebook.ingest.mqtt.properties import Properties, read_properties
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason, malformed

_RESERVED, _CLEAN, _WILL, _WILL_RETAIN, _PASSWORD, _USER_NAME = 0x01, 0x02, 0x04, 0x20, 0x40, 0x80

# Reason codes that a client may put into a packet (MQTT 5.0 Table 2-6).
_ACK_REASONS = {
    PacketType.PUBACK: {0x00, 0x10, 0x80, 0x83, 0x87, 0x90, 0x91, 0x97, 0x99},
    PacketType.PUBREC: {0x00, 0x10, 0x80, 0x83, 0x87, 0x90, 0x91, 0x97, 0x99},
    PacketType.PUBREL: {0x00, 0x92},
    PacketType.PUBCOMP: {0x00, 0x92},
}
_DISCONNECT_REASONS = {0x00, 0x04, *range(0x80, 0x84), 0x90, *range(0x93, 0x9A)}
_AUTH_REASONS = {0x18, 0x19}


def read_connect(fields: FieldReader) -> Connect | UnknownLevel:
    """Return a CONNECT (§3.1)."""
    name = fields.binary()
    level = fields.byte()
    if name == b"MQIsdp" or (name == b"MQTT" and level not in (4, 5)):
        return UnknownLevel(level)
    if name != b"MQTT":
        raise ProtocolError(Reason.UNSUPPORTED_VERSION, f"not the MQTT protocol: {name[:16]!r}")
    flags = fields.byte()
    _check_connect_flags(flags, level)
    keep_alive_s = fields.u16()
    properties = read_properties(fields, "CONNECT") if level == 5 else {}
    client_id = fields.text()
    will = _read_will(fields, flags, level) if flags & _WILL else None
    user_name = fields.text() if flags & _USER_NAME else None
    password = fields.binary() if flags & _PASSWORD else None
    fields.end()
    clean = bool(flags & _CLEAN)
    return Connect(level, client_id, clean, keep_alive_s, will, user_name, password, properties)


def _check_connect_flags(flags: int, level: int) -> None:
    will_qos = flags >> 3 & 3
    if flags & _RESERVED:
        raise malformed("the reserved flag of a CONNECT is set")
    if will_qos == 3:
        raise malformed("the QoS of a will is 3")
    if not flags & _WILL and (will_qos or flags & _WILL_RETAIN):
        raise malformed("a CONNECT describes a will that it does not bring")
    if level == 4 and flags & _PASSWORD and not flags & _USER_NAME:
        raise malformed("a CONNECT brings a password without a user name")


def _read_will(fields: FieldReader, flags: int, level: int) -> Will:
    properties = read_properties(fields, "will") if level == 5 else {}
    topic = fields.topic()
    payload = fields.binary()
    return Will(topic, payload, flags >> 3 & 3, bool(flags & _WILL_RETAIN), properties)


def read_ack(fields: FieldReader, kind: PacketType, level: int) -> Ack:
    """Return a PUBACK, PUBREC, PUBREL or PUBCOMP (§3.4 to §3.7)."""
    packet_id = fields.packet_id()
    reason, properties = _read_outcome(fields, kind, level, _ACK_REASONS[kind])
    return Ack(kind, packet_id, reason, properties)


def read_subscribe(fields: FieldReader, level: int) -> Subscribe:
    """Return a SUBSCRIBE (§3.8)."""
    packet_id = fields.packet_id()
    properties = read_properties(fields, "SUBSCRIBE") if level == 5 else {}
    filters = []
    while fields.more():
        topic_filter = fields.topic_filter()
        options = fields.byte()
        _check_options(topic_filter, options, level)
        filters.append((topic_filter, options))
    _check_count(filters)
    return Subscribe(packet_id, filters, properties)


def _check_options(topic_filter: str, options: int, level: int) -> None:
    reserved = 0xC0 if level == 5 else 0xFC
    if options & reserved or options & 3 == 3 or (level == 5 and options & 0x30 == 0x30):
        raise malformed(f"subscription options {options:#04x} are not legal")
    if level == 5 and options & 4 and topic_filter.startswith("$share/"):
        raise ProtocolError(Reason.PROTOCOL_ERROR, "No Local on a shared subscription")


def read_unsubscribe(fields: FieldReader, level: int) -> Unsubscribe:
    """Return an UNSUBSCRIBE (§3.10)."""
    packet_id = fields.packet_id()
    properties = read_properties(fields, "UNSUBSCRIBE") if level == 5 else {}
    filters = []
    while fields.more():
        filters.append(fields.topic_filter())
    _check_count(filters)
    return Unsubscribe(packet_id, filters, properties)


def _check_count(filters: list[str] | list[tuple[str, int]]) -> None:
    if len(filters) > FILTERS:
        raise ProtocolError(Reason.QUOTA_EXCEEDED, f"more than {FILTERS} topic filters at once")
    if not filters:
        raise ProtocolError(Reason.PROTOCOL_ERROR, "no topic filter at all")


def read_disconnect(fields: FieldReader, level: int) -> Disconnect:
    """Return a DISCONNECT (§3.14)."""
    return Disconnect(*_read_outcome(fields, PacketType.DISCONNECT, level, _DISCONNECT_REASONS))


def read_auth(fields: FieldReader, level: int) -> Auth:
    """Return an AUTH (MQTT 5.0 §3.15)."""
    if level != 5:
        raise malformed("packet type 15 is reserved in MQTT 3.1.1")
    return Auth(*_read_outcome(fields, PacketType.AUTH, level, _AUTH_REASONS | {0x00}))


def _read_outcome(
    fields: FieldReader, kind: PacketType, level: int, known: set[int]
) -> tuple[int, Properties]:
    """Return reason and properties; both may be left out, and are in MQTT 3.1.1."""
    reason, properties = 0, {}
    if level == 5 and fields.more():
        reason = fields.byte()
        if reason not in known:
            raise malformed(f"reason code {reason:#04x} has no place in {kind.name}")
        if fields.more():
            properties = read_properties(fields, kind.name)
    fields.end()
    return reason, properties
