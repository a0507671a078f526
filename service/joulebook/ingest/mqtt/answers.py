"""Packets that a server sends, as bytes."""

from joulebook.ingest.mqtt.fields import encode_varint
from joulebook.ingest.mqtt.packets import PacketType
from joulebook.ingest.mqtt.properties import Property, encode_properties
from joulebook.ingest.mqtt.reasons import Reason, Return

PINGRESP = b"\xd0\x00"


def connack_311(code: Return) -> bytes:
    """Return the CONNACK of MQTT 3.1.1 (§3.2); session present is always 0."""
    return bytes((0x20, 2, 0, code))


def connack_5(reason: Reason, properties: dict[Property, int | str]) -> bytes:
    """Return the CONNACK of MQTT 5.0 (§3.2); session present is always 0."""
    body = bytes((0, reason)) + encode_properties(properties)
    return b"\x20" + encode_varint(len(body)) + body


def acknowledgement(kind: PacketType, packet_id: int, reason: Reason = Reason.SUCCESS) -> bytes:
    """Return a PUBACK, PUBREC or PUBCOMP. A reason other than success exists in 5.0 only."""
    if reason:
        return bytes((kind << 4, 3, packet_id >> 8, packet_id & 0xFF, reason))
    return bytes((kind << 4, 2, packet_id >> 8, packet_id & 0xFF))


def suback(packet_id: int, filters: int, level: int) -> bytes:
    """Return the SUBACK that refuses each of so many filters (§3.9)."""
    refusal = b"\x87" if level == 5 else b"\x80"
    return _answer(PacketType.SUBACK, packet_id, refusal * filters, level)


def unsuback(packet_id: int, filters: int, level: int) -> bytes:
    """Return the UNSUBACK: there was no such subscription (§3.11)."""
    codes = bytes((Reason.NO_SUBSCRIPTION,)) * filters if level == 5 else b""
    return _answer(PacketType.UNSUBACK, packet_id, codes, level)


def disconnect(reason: Reason) -> bytes:
    """Return the DISCONNECT of MQTT 5.0 (§3.14); in 3.1.1 a server has none."""
    return bytes((0xE0, 1, reason))


def _answer(kind: PacketType, packet_id: int, codes: bytes, level: int) -> bytes:
    body = packet_id.to_bytes(2) + (b"\x00" if level == 5 else b"") + codes
    return bytes((kind << 4,)) + encode_varint(len(body)) + body
