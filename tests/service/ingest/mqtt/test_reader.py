import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from joulebook.ingest.mqtt.limits import CONNECT_LIMIT
from joulebook.ingest.mqtt.packets import Connect, Packet, PacketType, Pingreq, Publish
from joulebook.ingest.mqtt.reader import PacketReader
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason
from tests.helpers.mqtt_packets import PINGREQ, connect, packet, properties, publish, text

TOPIC = "joulebook/v1/home/battery"
LIMIT = 1024 * 1024


def read(*chunks: bytes, level: int = 4, limit: int = LIMIT) -> list[Packet]:
    """Return the packets behind a CONNECT of the given level."""
    reader = PacketReader(limit)
    packets: list[Packet] = []
    for chunk in (connect(level), *chunks):
        reader.feed(chunk)
        while (found := reader.next_packet()) is not None:
            packets.append(found)
    assert isinstance(packets[0], Connect)
    return packets[1:]


def reason_of(*chunks: bytes, level: int = 4, limit: int = LIMIT) -> Reason:
    """Return why the bytes behind a CONNECT are refused."""
    with pytest.raises(ProtocolError) as caught:
        read(*chunks, level=level, limit=limit)
    return caught.value.reason


def test_a_publish_byte_for_byte() -> None:
    # CV-43: MQTT 3.1.1 §3.3; 25 topic bytes, 34 payload bytes, 65 in all.
    payload = b'[{"n":"voltage","u":"V","v":53.1}]'
    raw = bytes.fromhex("323F0019") + TOPIC.encode() + bytes.fromhex("1234") + payload
    assert len(raw) == 65
    assert read(raw) == [Publish(TOPIC, payload, 1, 0x1234, False, False, {})]
    again = b"\x3a" + raw[1:]  # CV-43b
    assert read(again) == [Publish(TOPIC, payload, 1, 0x1234, True, False, {})]


MESSAGES = st.builds(
    Publish,
    topic=st.text(
        st.characters(blacklist_categories=["Cs"], blacklist_characters="\0+#"),
        min_size=1,
        max_size=80,
    ),
    payload=st.binary(max_size=300),
    qos=st.integers(0, 2),
    packet_id=st.integers(1, 65535),
    dup=st.booleans(),
    retain=st.booleans(),
    properties=st.just({}),
).map(lambda one: one if one.qos else one._replace(packet_id=0, dup=False))


@settings(derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(MESSAGES, max_size=8), st.sampled_from([4, 5]), st.data())
def test_packets_come_back_however_the_stream_is_cut(
    messages: list[Publish], level: int, data: st.DataObject
) -> None:
    stream = b"".join(
        publish(
            one.topic, one.payload, level=level, qos=one.qos, packet_id=one.packet_id,
            dup=one.dup, retain=one.retain,
        )
        for one in messages
    )  # fmt: skip
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    edges = zip([0, *cuts], [*cuts, len(stream)], strict=True)
    assert read(*(stream[a:b] for a, b in edges), level=level) == messages


def test_packets_byte_by_byte() -> None:
    stream = publish(payload=bytes(200)) + PINGREQ + publish(payload=b"2", packet_id=2)
    kinds = [type(one) for one in read(*(bytes((one,)) for one in stream))]
    assert kinds == [Publish, Pingreq, Publish]


def test_bytes_that_come_before_the_last_were_split() -> None:
    reader = PacketReader(LIMIT)
    reader.feed(connect() + PINGREQ)
    assert isinstance(reader.next_packet(), Connect)
    reader.feed(publish()[:7])
    reader.feed(publish()[7:])
    assert isinstance(reader.next_packet(), Pingreq)
    assert isinstance(reader.next_packet(), Publish)
    assert reader.next_packet() is None


@pytest.mark.parametrize("level", [4, 5])
@pytest.mark.parametrize("size", [0, 1, 80, 127, 128, 16383, 16384, 1_000_000])
def test_payloads_of_any_length(size: int, level: int) -> None:
    (found,) = read(publish(payload=bytes(size), level=level), level=level)
    assert isinstance(found, Publish)
    assert found.payload == bytes(size)


def test_many_topics_and_long_ones() -> None:
    topics = [f"t/{n}" for n in range(600)] + ["x" * 300, "t/599", "x" * 300]
    stream = b"".join(publish(topic) for topic in topics)
    assert [one.topic for one in read(stream)] == topics  # type: ignore[union-attr]


def test_properties_of_a_publish() -> None:
    raw = b"\x03" + text("application/senml+json") + b"\x26" + text("a") + text("b")
    (found,) = read(publish(payload=b"x", level=5, raw=raw), level=5)
    assert isinstance(found, Publish)
    assert found.payload == b"x"
    assert found.properties == {3: "application/senml+json", 0x26: [("a", "b")]}


@pytest.mark.parametrize("level", [4, 5])
@pytest.mark.parametrize(
    "raw",
    [
        publish(qos=3),  # §3.3.1.2
        publish(qos=0, dup=True),  # §3.3.1.1
        publish(packet_id=0),  # §2.3.1
        publish("a/+"),  # §3.3.2.1
        publish("a/#"),
        publish(b"a\x00b"),  # §1.5.3
        publish(b"\xed\xa0\x80"),
        b"\x30\x00",  # no topic length
        b"\x30\x01\x00",
        b"\x30\x03\x00\x05a",  # a topic that runs past the packet
        b"\x32\x04\x00\x01a\x00",  # half a packet identifier
    ],
)
def test_malformed_publishes(raw: bytes, level: int) -> None:
    assert reason_of(raw, level=level) is Reason.MALFORMED


def test_an_empty_topic() -> None:
    assert reason_of(publish("")) is Reason.MALFORMED  # 3.1.1 §4.7.3
    alias = b"\x23\x00\x01"  # legal in 5.0 with an alias, of which we allow none
    assert reason_of(publish("", level=5, raw=alias), level=5) is Reason.TOPIC_ALIAS_INVALID


def test_a_publish_without_the_length_of_its_properties() -> None:
    assert reason_of(b"\x30\x03\x00\x01a", level=5) is Reason.MALFORMED


# CV-43c: MQTT 3.1.1 §2.2.2, Table 2.2. Every other value of the low four bits is malformed.
@pytest.mark.parametrize("kind", [one for one in PacketType if one is not PacketType.PUBLISH])
def test_reserved_flags(kind: PacketType) -> None:
    two = {PacketType.PUBREL, PacketType.SUBSCRIBE, PacketType.UNSUBSCRIBE}
    right = 2 if kind in two else 0
    for flags in set(range(16)) - {right}:
        with pytest.raises(ProtocolError, match="reserved flags"):
            read(bytes((kind << 4 | flags, 2, 0, 1)), level=5)


def test_packet_type_zero_is_reserved() -> None:
    assert reason_of(b"\x00\x00") is Reason.MALFORMED


@pytest.mark.parametrize("kind", ["CONNACK", "SUBACK", "UNSUBACK", "PINGRESP"])
def test_packets_of_a_server(kind: str) -> None:
    assert reason_of(bytes((PacketType[kind] << 4, 0))) is Reason.PROTOCOL_ERROR


def test_a_ping_with_a_body() -> None:
    assert reason_of(b"\xc0\x01\x00") is Reason.MALFORMED


@pytest.mark.parametrize("first", [b"\x30\x00", PINGREQ, b"\x00\x00", b"GET / HTTP/1.1\r\n"])
def test_the_first_packet_is_a_connect(first: bytes) -> None:  # §3.1
    reader = PacketReader(LIMIT)
    reader.feed(first)
    with pytest.raises(ProtocolError, match="no CONNECT"):
        reader.next_packet()


def test_too_long_is_known_from_the_header() -> None:
    whole = publish(payload=bytes(500))
    assert len(read(whole, limit=len(whole))) == 1
    assert reason_of(whole[:3], limit=len(whole) - 1) is Reason.PACKET_TOO_LARGE
    assert reason_of(b"\x30\xff\xff\xff\x7f") is Reason.PACKET_TOO_LARGE


def test_a_stranger_gets_a_small_buffer() -> None:
    reader = PacketReader(LIMIT)
    reader.feed(packet(0x10, bytes(CONNECT_LIMIT))[:4])
    with pytest.raises(ProtocolError) as caught:
        reader.next_packet()
    assert caught.value.reason is Reason.PACKET_TOO_LARGE


def test_a_length_of_five_bytes() -> None:  # CV-40b
    assert reason_of(bytes.fromhex("30FFFFFFFF01")) is Reason.MALFORMED


def test_a_length_longer_than_needed() -> None:
    raw = b"\xc0\x80\x00"
    assert read(raw) == [Pingreq()]  # 3.1.1 does not forbid it
    assert reason_of(raw, level=5) is Reason.MALFORMED  # 5.0 §1.5.5 does


def test_properties_may_be_empty() -> None:
    assert properties(5) == b"\x00"
    (found,) = read(publish(payload=b"\x00", level=5), level=5)
    assert found == Publish(TOPIC, b"\x00", 1, 1, False, False, {})
