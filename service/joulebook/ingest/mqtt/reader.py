"""Bytes in, packets out: the client's side of the conversation, as a server reads it."""

from joulebook.ingest.mqtt import bodies
from joulebook.ingest.mqtt.fields import FieldReader, decode_topic, decode_varint
from joulebook.ingest.mqtt.limits import CONNECT_LIMIT, TOPIC_BYTES, TOPIC_LEVELS
from joulebook.ingest.mqtt.packets import Connect, Packet, PacketType, Pingreq, Publish
from joulebook.ingest.mqtt.properties import Property, read_properties
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason, malformed

# What the low half of the first byte has to be (Table 2.2).
_FLAGS = dict.fromkeys(PacketType, 0) | {
    PacketType.PUBREL: 2,
    PacketType.SUBSCRIBE: 2,
    PacketType.UNSUBSCRIBE: 2,
}
_ACKS = {PacketType.PUBACK, PacketType.PUBREC, PacketType.PUBREL, PacketType.PUBCOMP}

# A client publishes to a handful of topics, over and over: each is checked and decoded once.
# Long or many ones are not kept, since a stranger could fill the memory with them.
_KEPT_TOPICS = 256
_KEPT_TOPIC_BYTES = 256


class PacketReader:
    """Splits a stream of bytes into packets, however it is cut.

    Parameters
    ----------
    max_packet_size : int
        The longest packet that is taken, its header included. [byte]
    """

    def __init__(self, max_packet_size: int) -> None:
        self._max_packet_size = max_packet_size
        self._limit = min(CONNECT_LIMIT, max_packet_size)
        self._level = 0  # none before the CONNECT
        self._data = b""  # being split, from `_at` on
        self._at = 0
        # The beginning of a packet whose end is not here yet. It is only looked at again when
        # `_needed` bytes are here, so a packet that trickles in byte by byte costs no more than
        # one that comes whole.
        self._tail = bytearray()
        self._needed = 0
        self._topics: dict[bytes, str] = {}

    @property
    def unfinished_bytes(self) -> int:
        """How much is held of what is not yet read, because its end is missing for instance."""
        return len(self._tail) or (len(self._data) if self._at < len(self._data) else 0)

    def feed(self, data: bytes) -> None:
        """Take in bytes as they arrive."""
        if self._at < len(self._data):
            self._keep_tail(self._at, 0)
        if self._tail:
            self._tail += data
            if len(self._tail) < self._needed:
                return
            data = bytes(self._tail)
            self._tail.clear()
        self._data = data
        self._at = 0

    def next_packet(self) -> Packet | None:
        """Return the next whole packet, or ``None`` until more bytes arrive.

        Raises
        ------
        ProtocolError
            If the bytes are none. Nothing behind them can be understood.
        """
        data, start = self._data, self._at
        if len(data) - start < 2:
            self._wait(start, 2)
            return None
        if not self._level and data[start] >> 4 != PacketType.CONNECT:
            raise ProtocolError(Reason.PROTOCOL_ERROR, "the first packet is no CONNECT")
        length, at = data[start + 1], start + 2
        if length > 0x7F:
            found = decode_varint(data, start + 1, len(data))
            if found is None:
                self._wait(start, len(data) - start + 1)
                return None
            length, at = found
            self._check_shortest(start, at)
        stop = at + length
        if stop - start > self._limit:
            what = f"a packet of {stop - start} bytes, where {self._limit} are the limit"
            raise ProtocolError(Reason.PACKET_TOO_LARGE, what)
        if stop > len(data):
            self._wait(start, stop - start)
            return None
        self._at = stop
        if data[start] & 0xF0 == 0x30:
            return self._publish(data[start], at, stop)
        return self._other(data[start], at, stop)

    def _wait(self, start: int, needed: int) -> None:
        if start < len(self._data):
            self._keep_tail(start, needed)

    def _keep_tail(self, start: int, needed: int) -> None:
        self._tail = bytearray(self._data[start:])
        self._needed = needed
        self._data, self._at = b"", 0

    def _check_shortest(self, start: int, at: int) -> None:
        # 5.0 asks for the shortest form (§1.5.5), 3.1.1 does not.
        if self._level == 5 and at - start > 2 and self._data[at - 1] == 0:
            raise malformed("the remaining length is longer than it has to be")

    def _publish(self, first: int, at: int, stop: int) -> Publish:
        data = self._data
        qos, dup = first >> 1 & 3, bool(first & 8)
        if qos == 3 or (dup and not qos):
            raise malformed(f"a PUBLISH with the flags {first & 15:#x}")
        topic_end = at + 2 + (data[at] << 8 | data[at + 1]) if stop - at >= 2 else stop + 1
        id_end = topic_end + 2 if qos else topic_end
        if id_end > stop:
            raise malformed("a field runs past the end of its packet")
        raw = data[at + 2 : topic_end]
        topic = self._topics.get(raw)
        if topic is None:
            topic = self._new_topic(raw)
        packet_id = 0
        if qos:
            packet_id = data[topic_end] << 8 | data[topic_end + 1]
            if packet_id == 0:
                raise malformed("a packet identifier is 0")
        if self._level == 4:
            return Publish(topic, data[id_end:stop], qos, packet_id, dup, bool(first & 1), {})
        if id_end < stop and data[id_end] == 0:  # the usual case: no properties
            return Publish(topic, data[id_end + 1 : stop], qos, packet_id, dup, bool(first & 1), {})
        fields = FieldReader(data, id_end, stop)
        properties = read_properties(fields, "PUBLISH")
        if Property.TOPIC_ALIAS in properties:
            raise ProtocolError(Reason.TOPIC_ALIAS_INVALID, "a topic alias: none was agreed")
        payload = data[fields.at : stop]
        return Publish(topic, payload, qos, packet_id, dup, bool(first & 1), properties)

    def _new_topic(self, raw: bytes) -> str:
        if not raw and self._level == 5:
            # Legal with a topic alias (§3.3.2.1), but our Topic Alias Maximum is 0.
            raise ProtocolError(Reason.TOPIC_ALIAS_INVALID, "an empty topic: no alias was agreed")
        if len(raw) > TOPIC_BYTES or raw.count(b"/") >= TOPIC_LEVELS:
            what = f"a topic of {len(raw)} bytes in {raw.count(b'/') + 1} levels"
            limits = f"{TOPIC_BYTES} bytes and {TOPIC_LEVELS} levels are the limit"
            raise ProtocolError(Reason.TOPIC_INVALID, f"{what}, where {limits}")
        topic = decode_topic(raw)
        if len(raw) <= _KEPT_TOPIC_BYTES:
            if len(self._topics) >= _KEPT_TOPICS:
                self._topics.clear()
            self._topics[raw] = topic
        return topic

    def _other(self, first: int, at: int, stop: int) -> Packet:
        if first < 0x10:
            raise malformed("packet type 0 is reserved")
        kind = PacketType(first >> 4)
        if first & 15 != _FLAGS[kind]:
            raise malformed(f"reserved flags of a {kind.name} are {first & 15:#x}")
        fields = FieldReader(self._data, at, stop)
        if kind is PacketType.CONNECT:
            packet = bodies.read_connect(fields)
            if isinstance(packet, Connect):
                self._level = packet.level
                self._limit = self._max_packet_size
            return packet
        if kind in _ACKS:
            return bodies.read_ack(fields, kind, self._level)
        if kind is PacketType.SUBSCRIBE:
            return bodies.read_subscribe(fields, self._level)
        if kind is PacketType.UNSUBSCRIBE:
            return bodies.read_unsubscribe(fields, self._level)
        if kind is PacketType.PINGREQ:
            fields.end()
            return Pingreq()
        if kind is PacketType.DISCONNECT:
            return bodies.read_disconnect(fields, self._level)
        if kind is PacketType.AUTH:
            return bodies.read_auth(fields, self._level)
        raise ProtocolError(Reason.PROTOCOL_ERROR, f"only a server sends a {kind.name}")
