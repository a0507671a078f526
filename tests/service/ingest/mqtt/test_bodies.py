import pytest

from joulebook.ingest.mqtt.packets import (
    Ack,
    Auth,
    Connect,
    Disconnect,
    Packet,
    PacketType,
    Subscribe,
    UnknownLevel,
    Unsubscribe,
    Will,
)
from joulebook.ingest.mqtt.reader import PacketReader
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason
from tests.helpers.mqtt_packets import connect, packet, properties, text


def first(raw: bytes) -> Packet | None:
    reader = PacketReader(1024 * 1024)
    reader.feed(raw)
    return reader.next_packet()


def second(raw: bytes, level: int) -> Packet | None:
    """Return the packet that follows a CONNECT."""
    reader = PacketReader(1024 * 1024)
    reader.feed(connect(level) + raw)
    assert isinstance(reader.next_packet(), Connect)
    return reader.next_packet()


def reason_of(raw: bytes, level: int | None = None) -> Reason:
    with pytest.raises(ProtocolError) as caught:
        first(raw) if level is None else second(raw, level)
    return caught.value.reason


def test_a_whole_connect_byte_for_byte() -> None:
    # CV-42: MQTT 3.1.1 §3.1.
    raw = bytes.fromhex(
        "10 24 00 04 4D 51 54 54 04 C2 00 3C 00 07 62 72 69 64 67 65 31"
        "00 07 62 72 69 64 67 65 31 00 06 73 65 63 72 65 74"
    )
    assert first(raw) == Connect(4, "bridge1", True, 60, None, "bridge1", b"secret", {})
    assert connect() == raw


def test_the_variable_header_of_figure_3_6() -> None:
    # CV-41: MQTT 3.1.1 §3.1.2.11, Figure 3.6; the payload (§3.1.3) is ours.
    header = bytes.fromhex("00 04 4D 51 54 54 04 CE 00 0A")
    payload = text("c") + text("will/topic") + text(b"gone") + text("user") + text("pass")
    will = Will("will/topic", b"gone", 1, False, {})
    found = first(packet(0x10, header + payload))
    assert found == Connect(4, "c", True, 10, will, "user", b"pass", {})


def test_the_variable_header_of_5_0() -> None:
    # CV-41b: MQTT 5.0 §3.1.2.12: the same with a session expiry of 10 s.
    header = bytes.fromhex("00 04 4D 51 54 54 05 CE 00 0A 05 11 00 00 00 0A")
    payload = text("c") + b"\x00" + text("w") + text(b"gone") + text("user") + text("pass")
    will = Will("w", b"gone", 1, False, {})
    found = first(packet(0x10, header + payload))
    assert found == Connect(5, "c", True, 10, will, "user", b"pass", {0x11: 10})


def test_the_properties_of_a_will() -> None:
    raw = connect(5, will=("w", b"x", 2, True), raw_will=b"\x18\x00\x00\x00\x05")
    found = first(raw)
    assert isinstance(found, Connect)
    assert found.will == Will("w", b"x", 2, True, {0x18: 5})


def test_a_password_alone_is_for_5_0() -> None:
    found = first(connect(5, name=None))
    assert isinstance(found, Connect)
    assert (found.user_name, found.password) == (None, b"secret")
    assert reason_of(connect(4, name=None)) is Reason.MALFORMED  # 3.1.1 §3.1.2.9


@pytest.mark.parametrize("level", [0, 3, 6, 255])
def test_other_levels(level: int) -> None:
    assert first(packet(0x10, text("MQTT") + bytes((level,)) + b"whatever")) == UnknownLevel(level)


def test_the_protocol_before_3_1_1() -> None:
    assert first(packet(0x10, text("MQIsdp") + b"\x03\x02\x00\x3c" + text("c"))) == UnknownLevel(3)


def test_another_protocol() -> None:
    assert reason_of(packet(0x10, text("mqtt") + b"\x04")) is Reason.UNSUPPORTED_VERSION


@pytest.mark.parametrize(
    "flags",
    [
        0x03,  # the reserved bit: §3.1.2.3
        0x0A,  # will QoS 1 without a will: §3.1.2.6
        0x22,  # will retain without a will: §3.1.2.7
        0x1E,  # will QoS 3
    ],
)
@pytest.mark.parametrize("level", [4, 5])
def test_flags_that_contradict_each_other(flags: int, level: int) -> None:
    header = text("MQTT") + bytes((level, flags, 0, 60)) + properties(level)
    assert reason_of(packet(0x10, header + text("c") + bytes(20))) is Reason.MALFORMED


@pytest.mark.parametrize(
    "raw",
    [
        packet(0x10, b""),
        packet(0x10, text("MQTT")),
        packet(0x10, connect()[2:] + b"\x00"),  # a byte too many
        packet(0x10, connect()[2:-1]),  # one too few
        packet(0x10, connect(5)[2:-1]),
        connect(name="a\0b"),
        connect(client_id="a\0"),
        connect(will=("w/#", b"", 0, False)),
        connect(will=("", b"", 0, False)),
        connect(5, will=("w", b"", 0, False), raw_will=b"\x23\x00\x01"),
    ],
)
def test_malformed_connects(raw: bytes) -> None:
    assert reason_of(raw) is Reason.MALFORMED


@pytest.mark.parametrize("kind", ["PUBACK", "PUBREC", "PUBREL", "PUBCOMP"])
def test_acknowledgements(kind: str) -> None:
    one = PacketType[kind]
    first_byte = one << 4 | (2 if kind == "PUBREL" else 0)
    short = packet(first_byte, b"\x12\x34")
    assert second(short, 4) == second(short, 5) == Ack(one, 0x1234, 0, {})
    reason = 0x92 if kind in ("PUBREL", "PUBCOMP") else 0x10
    assert second(packet(first_byte, b"\x12\x34" + bytes((reason,))), 5) == Ack(
        one, 0x1234, reason, {}
    )
    long = packet(first_byte, b"\x12\x34\x00\x04\x1f" + text("a"))
    assert second(long, 5) == Ack(one, 0x1234, 0, {0x1F: "a"})
    assert reason_of(packet(first_byte, b"\x12\x34\x00"), 4) is Reason.MALFORMED  # 3.1.1 has none
    assert reason_of(packet(first_byte, b"\x12\x34\x55"), 5) is Reason.MALFORMED
    assert reason_of(packet(first_byte, b"\x00\x00"), 5) is Reason.MALFORMED
    assert reason_of(packet(first_byte, b"\x12"), 4) is Reason.MALFORMED
    assert reason_of(packet(first_byte, b"\x12\x34\x00\x00\x00"), 5) is Reason.MALFORMED


def test_subscribe() -> None:
    body = b"\x00\x0a" + text("a/b") + b"\x01" + text("c/d") + b"\x02"
    # MQTT 3.1.1 §3.8.3, Figure 3.23: a/b with QoS 1, c/d with QoS 2.
    assert body[2:] == bytes.fromhex("0003612F6201 0003632F6402")
    assert second(packet(0x82, body), 4) == Subscribe(10, [("a/b", 1), ("c/d", 2)], {})
    five = b"\x00\x0a" + properties(5, b"\x0b\x07") + text("#") + b"\x2c"
    assert second(packet(0x82, five), 5) == Subscribe(10, [("#", 0x2C)], {0x0B: 7})


@pytest.mark.parametrize(
    ("options", "level"),
    [(3, 4), (4, 4), (0x80, 4), (3, 5), (0x30, 5), (0x40, 5), (0x80, 5)],
)
def test_subscription_options(options: int, level: int) -> None:  # §3.8.3.1
    body = b"\x00\x0a" + properties(level) + text("a") + bytes((options,))
    assert reason_of(packet(0x82, body), level) is Reason.MALFORMED


def test_no_local_on_a_shared_subscription() -> None:  # 5.0 §3.8.3.1
    body = b"\x00\x0a\x00" + text("$share/g/a") + b"\x04"
    assert reason_of(packet(0x82, body), 5) is Reason.PROTOCOL_ERROR


def test_unsubscribe() -> None:
    # MQTT 3.1.1 §3.10.3, Figure 3.30.
    body = b"\x00\x0a" + bytes.fromhex("0003612F62 0003632F64")
    assert second(packet(0xA2, body), 4) == Unsubscribe(10, ["a/b", "c/d"], {})
    five = b"\x00\x0a" + properties(5, b"\x26" + text("k") + text("v")) + text("a")
    assert second(packet(0xA2, five), 5) == Unsubscribe(10, ["a"], {0x26: [("k", "v")]})


@pytest.mark.parametrize("level", [4, 5])
@pytest.mark.parametrize("first_byte", [0x82, 0xA2])
def test_requests_without_a_filter(first_byte: int, level: int) -> None:  # §3.8.3, §3.10.3
    empty = packet(first_byte, b"\x00\x0a" + properties(level))
    assert reason_of(empty, level) is Reason.PROTOCOL_ERROR
    bad = packet(first_byte, b"\x00\x0a" + properties(level) + text("a#") + b"\x00")
    assert reason_of(bad, level) is Reason.FILTER_INVALID
    nobody = packet(first_byte, b"\x00\x00" + properties(level) + text("a") + b"\x00")
    assert reason_of(nobody, level) is Reason.MALFORMED


def test_disconnect() -> None:
    assert second(b"\xe0\x00", 4) == second(b"\xe0\x00", 5) == Disconnect(0, {})
    assert second(b"\xe0\x01\x04", 5) == Disconnect(4, {})
    # MQTT 5.0 §3.14.2.2.2
    assert second(bytes.fromhex("E007 00 05 1100000009"), 5) == Disconnect(0, {0x11: 9})
    assert reason_of(b"\xe0\x01\x00", 4) is Reason.MALFORMED
    assert reason_of(b"\xe0\x01\x8b", 5) is Reason.MALFORMED  # a server's reason


def test_auth() -> None:
    raw = packet(0xF0, b"\x18" + properties(5, b"\x15" + text("m")))
    assert second(raw, 5) == Auth(0x18, {0x15: "m"})
    assert second(b"\xf0\x00", 5) == Auth(0, {})
    assert reason_of(b"\xf0\x00", 4) is Reason.MALFORMED  # type 15 is reserved in 3.1.1
