"""The data types that packets are made of (MQTT 3.1.1 §1.5, §2.2.3; MQTT 5.0 §1.5)."""

from joulebook.ingest.mqtt.reasons import ProtocolError, Reason, malformed

#: The largest number that four bytes of seven bits hold.
LARGEST_VARINT = 268_435_455


def encode_varint(value: int) -> bytes:
    """Return a variable byte integer, as the remaining length is written: 321 → C1 02."""
    if not 0 <= value <= LARGEST_VARINT:
        raise ValueError(f"a variable byte integer is 0 to {LARGEST_VARINT}, not {value}")
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def decode_varint(data: bytes, at: int, stop: int) -> tuple[int, int] | None:
    """Return a variable byte integer and where it ends; ``None`` when it goes on after ``stop``.

    Raises
    ------
    ProtocolError
        If it is longer than four bytes. (The pseudo-code printed in 3.1.1 §2.2.3 also throws
        out the legal 80 80 80 01; Table 2.4 of the same section is followed here.)
    """
    value = 0
    for index in range(4):
        if at + index >= stop:
            return None
        byte = data[at + index]
        value |= (byte & 0x7F) << 7 * index
        if byte < 0x80:
            return value, at + index + 1
    raise malformed("a variable byte integer is longer than four bytes")


def decode_text(raw: bytes) -> str:
    """Return a UTF-8 string. Surrogates, overlong forms and U+0000 are refused (§1.5.3)."""
    try:
        text = raw.decode()
    except UnicodeDecodeError:
        raise malformed("a string is not UTF-8") from None
    if "\0" in text:
        raise malformed("a string holds U+0000")
    return text


def decode_topic(raw: bytes) -> str:
    """Return a topic name: not empty, without wildcards (§4.7)."""
    topic = decode_text(raw)
    if not topic:
        raise malformed("a topic name is empty")
    if "+" in topic or "#" in topic:
        raise malformed(f"a topic name holds a wildcard: {topic!r}")
    return topic


def filter_is_valid(topic_filter: str) -> bool:
    """Tell whether a topic filter is legal: wildcards fill whole levels, # only the last."""
    levels = topic_filter.split("/")
    return bool(topic_filter) and all(
        level == "+" or (level == "#" and index == len(levels) - 1) or not set(level) & set("+#")
        for index, level in enumerate(levels)
    )


class FieldReader:
    """Reads one field after the other from ``data[at:stop]``, and nothing beyond it."""

    def __init__(self, data: bytes, at: int, stop: int) -> None:
        self._data = data
        self.at = at
        self.stop = stop

    def byte(self) -> int:
        """Return the next byte."""
        return self._take(1)[0]

    def u16(self) -> int:
        """Return a two byte integer."""
        return int.from_bytes(self._take(2))

    def u32(self) -> int:
        """Return a four byte integer."""
        return int.from_bytes(self._take(4))

    def packet_id(self) -> int:
        """Return a packet identifier, which is never 0."""
        packet_id = self.u16()
        if packet_id == 0:
            raise malformed("a packet identifier is 0")
        return packet_id

    def varint(self) -> int:
        """Return a variable byte integer in its shortest form (MQTT 5.0 §1.5.5)."""
        found = decode_varint(self._data, self.at, self.stop)
        if found is None:
            raise malformed("a field runs past the end of its packet")
        value, end = found
        if end - self.at > 1 and self._data[end - 1] == 0:
            raise malformed("a variable byte integer is longer than it has to be")
        self.at = end
        return value

    def binary(self) -> bytes:
        """Return binary data behind its two byte length."""
        return self._take(self.u16())

    def text(self) -> str:
        """Return a UTF-8 string."""
        return decode_text(self.binary())

    def topic(self) -> str:
        """Return a topic name."""
        return decode_topic(self.binary())

    def topic_filter(self) -> str:
        """Return a topic filter."""
        topic_filter = self.text()
        if not filter_is_valid(topic_filter):
            raise ProtocolError(Reason.FILTER_INVALID, f"not a topic filter: {topic_filter!r}")
        return topic_filter

    def more(self) -> bool:
        """Tell whether anything is left."""
        return self.at < self.stop

    def end(self) -> None:
        """Refuse whatever is left."""
        if self.at != self.stop:
            raise malformed("a packet goes on after its last field")

    def _take(self, length: int) -> bytes:
        end = self.at + length
        if end > self.stop:
            raise malformed("a field runs past the end of its packet")
        found = self._data[self.at : end]
        self.at = end
        return found
