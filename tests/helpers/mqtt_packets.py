"""Packets as a client writes them, byte by byte from the standard's tables."""

from joulebook.ingest.mqtt.fields import encode_varint


def text(value: str | bytes) -> bytes:
    """Return a string or binary field behind its two byte length."""
    raw = value.encode() if isinstance(value, str) else value
    return len(raw).to_bytes(2) + raw


def packet(first: int, body: bytes) -> bytes:
    """Return a packet: its first byte, the remaining length, the body."""
    return bytes((first,)) + encode_varint(len(body)) + body


def properties(level: int, raw: bytes = b"") -> bytes:
    """Return the properties' length and bytes; nothing in MQTT 3.1.1."""
    return encode_varint(len(raw)) + raw if level == 5 else b""


def connect(
    level: int = 4,
    *,
    client_id: str = "bridge1",
    name: str | None = "bridge1",
    secret: str | bytes | None = "secret",
    clean: bool = True,
    keep_alive_s: int = 60,
    raw: bytes = b"",
    will: tuple[str, bytes, int, bool] | None = None,
    raw_will: bytes = b"",
) -> bytes:
    """Return a CONNECT; ``raw`` are its properties, ``raw_will`` those of its will."""
    flags = 2 * clean | 0x80 * (name is not None) | 0x40 * (secret is not None)
    payload = text(client_id)
    if will is not None:
        topic, message, qos, retain = will
        flags |= 4 | qos << 3 | 0x20 * retain
        payload += properties(level, raw_will) + text(topic) + text(message)
    payload += text(name) if name is not None else b""
    payload += text(secret) if secret is not None else b""
    header = text("MQTT") + bytes((level, flags)) + keep_alive_s.to_bytes(2)
    return packet(0x10, header + properties(level, raw) + payload)


def publish(
    topic: str | bytes = "joulebook/v1/home/battery",
    payload: bytes = b"[]",
    *,
    level: int = 4,
    qos: int = 1,
    packet_id: int = 1,
    dup: bool = False,
    retain: bool = False,
    raw: bytes = b"",
) -> bytes:
    """Return a PUBLISH; ``raw`` are its properties."""
    number = packet_id.to_bytes(2) if qos else b""
    first = 0x30 | 8 * dup | qos << 1 | retain
    return packet(first, text(topic) + number + properties(level, raw) + payload)


def pubrel(packet_id: int) -> bytes:
    return b"\x62\x02" + packet_id.to_bytes(2)


PINGREQ = b"\xc0\x00"
DISCONNECT = b"\xe0\x00"
