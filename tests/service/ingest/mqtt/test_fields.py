import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest.mqtt.fields import (
    LARGEST_VARINT,
    FieldReader,
    decode_text,
    decode_topic,
    decode_varint,
    encode_varint,
    filter_is_valid,
)
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason
from tests.helpers.mqtt_packets import text

VECTORS = json.loads((Path(__file__).parents[3] / "data" / "wire_vectors.json").read_text())


# CV-40: MQTT 3.1.1 §2.2.3, Table 2.4. Among them 80 80 80 01, which the pseudo-code printed
# beside that table would reject (CV-40c).
@pytest.mark.parametrize(("value", "raw"), VECTORS["mqtt_remaining_length"])
def test_remaining_length_as_in_the_standard(value: int, raw: str) -> None:
    assert encode_varint(value).hex().upper() == raw
    assert decode_varint(bytes.fromhex(raw), 0, len(raw) // 2) == (value, len(raw) // 2)


def test_a_fifth_length_byte_is_malformed() -> None:  # CV-40b
    with pytest.raises(ProtocolError, match="longer than four bytes"):
        decode_varint(bytes.fromhex("FFFFFFFF01"), 0, 5)


def test_an_unfinished_length_waits() -> None:  # CV-40b
    assert decode_varint(b"\x80", 0, 1) is None


@settings(derandomize=True, deadline=None)
@given(st.integers(0, LARGEST_VARINT), st.binary(max_size=3))
def test_lengths_come_back(value: int, before: bytes) -> None:
    data = before + encode_varint(value) + b"\xff"
    assert decode_varint(data, len(before), len(data)) == (value, len(data) - 1)


@pytest.mark.parametrize("value", [-1, LARGEST_VARINT + 1])
def test_lengths_that_do_not_fit_are_refused(value: int) -> None:
    with pytest.raises(ValueError, match="0 to 268435455"):
        encode_varint(value)


def test_text_beyond_the_basic_plane() -> None:
    # CV-43e: MQTT 3.1.1 §1.5.3, Figure 1.2.
    raw = bytes.fromhex("000541F0AA9B94")
    assert FieldReader(raw, 0, 7).text() == "A\U0002a6d4"


def test_a_byte_order_mark_stays() -> None:
    # MQTT 3.1.1 §1.5.3: 0xEF 0xBB 0xBF is U+FEFF wherever it stands, and must not be stripped.
    assert decode_text(b"\xef\xbb\xbfx") == "\ufeffx"


@pytest.mark.parametrize(
    "raw",
    [
        b"\xed\xa0\x80",  # U+D800, a surrogate
        b"\xc0\xaf",  # "/" in two bytes
        b"\xff",
        b"\xf4\x90\x80\x80",  # beyond U+10FFFF
        b"a\x00b",
    ],
)
def test_text_that_the_standard_forbids(raw: bytes) -> None:  # §1.5.3
    with pytest.raises(ProtocolError):
        decode_text(raw)


@pytest.mark.parametrize("topic", ["", "a/+", "#", "a#b", "+"])
def test_no_topic_name(topic: str) -> None:  # §4.7.1, §4.7.3
    with pytest.raises(ProtocolError):
        decode_topic(topic.encode())


@pytest.mark.parametrize("topic", ["/", "a", "/a//b ", "$SYS/x"])
def test_topic_names(topic: str) -> None:
    assert decode_topic(topic.encode()) == topic


@pytest.mark.parametrize(("topic_filter", "valid"), VECTORS["mqtt_filter_valid"])
def test_filters_as_in_the_standard(topic_filter: str, valid: bool) -> None:  # CV-45, §4.7.1
    assert filter_is_valid(topic_filter) is valid


def test_an_invalid_filter_has_its_own_reason() -> None:
    raw = text("a#")
    with pytest.raises(ProtocolError) as caught:
        FieldReader(raw, 0, len(raw)).topic_filter()
    assert caught.value.reason is Reason.FILTER_INVALID


def test_fields_one_after_the_other() -> None:
    raw = b"\x01" + b"\x02\x03" + b"\x04\x05\x06\x07" + b"\x00\x09" + text("a/b") + b"\x81\x01"
    fields = FieldReader(raw, 0, len(raw))
    assert (fields.byte(), fields.u16(), fields.u32()) == (1, 0x0203, 0x04050607)
    assert (fields.packet_id(), fields.topic(), fields.more()) == (9, "a/b", True)
    assert fields.varint() == 129
    assert not fields.more()
    fields.end()


@pytest.mark.parametrize("read", [FieldReader.u16, FieldReader.binary, FieldReader.varint])
def test_a_field_does_not_run_past_its_packet(read: object) -> None:
    fields = FieldReader(b"\x80\x80\x01\x00", 0, 1)
    with pytest.raises(ProtocolError, match="past the end"):
        read(fields)  # type: ignore[operator]


def test_packet_id_zero_is_malformed() -> None:  # §2.3.1
    with pytest.raises(ProtocolError, match="identifier is 0"):
        FieldReader(b"\x00\x00", 0, 2).packet_id()


@pytest.mark.parametrize("raw", ["8000", "818000", "FFFF8000"])
def test_a_number_longer_than_needed_is_malformed(raw: str) -> None:
    # MQTT 5.0 §1.5.5: the minimum number of bytes must be used.
    with pytest.raises(ProtocolError, match="longer than it has to be"):
        FieldReader(bytes.fromhex(raw), 0, len(raw) // 2).varint()


def test_trailing_bytes_are_malformed() -> None:
    with pytest.raises(ProtocolError, match="goes on"):
        FieldReader(b"\x00\x00", 1, 2).end()
