"""Bytes that are not what was written: told, never believed, and never a crash."""

import struct
import tracemalloc
import zlib
from functools import cache
from math import nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.storage.blocks.block import DeviceBlock, checksum, decode_block, encode_block
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blocks.parts import MAX_ROWS, BlockDamagedError
from tests.helpers.quantised_site import DAY_MS, START_MS


@cache
def sealed() -> bytes:
    """Return a small block that has something of everything, on two pages."""
    rows = 2100
    at_ms = START_MS + DAY_MS // 2 + np.arange(rows, dtype=np.int64) * 40_000
    at_ms[5::7] += 3
    random = np.random.default_rng(3)
    text = np.empty(rows, dtype=np.object_)
    text[:] = np.where(np.arange(rows) < 700, "idle", "charging")
    text[:9] = None
    dark = np.where(np.arange(rows) % 1050 < 300, 0.0, np.rint(random.normal(0, 9, rows)) / 10)
    missing = np.where(random.random(rows) < 0.1, nan, random.normal(0, 1, rows))
    columns = {1: dark, 2: missing, 4: np.round(random.random(rows))}
    block = DeviceBlock(at_ms, {key: Column("number", array) for key, array in columns.items()})
    block.columns[3] = Column("text", text)
    return encode_block(block)


# The layout of docs/database-blocks.md, read here from that page and not from the code.
HEAD, PAGE, PART, COLUMN = "<4sHHIHH", "<qI", "<II", "<qBHII"


def head_size(data: bytes) -> int:
    _, _, pages, _, masks, columns = struct.unpack_from(HEAD, data)
    sizes = [struct.calcsize(form) for form in (HEAD, PAGE, PART, COLUMN)]
    counts = (1, int(pages), 1 + int(masks), int(columns))
    return sum(count * size for count, size in zip(counts, sizes, strict=True))


def signed_again(data: bytes) -> bytes:
    """Return a block with every checksum made right for whatever its bytes now are."""
    fixed, size = bytearray(data), head_size(data)
    _, _, pages, _, masks, columns = struct.unpack_from(HEAD, data)
    at, part_at = struct.calcsize(HEAD) + pages * struct.calcsize(PAGE), size + 4
    for entry in [struct.calcsize(PART)] * (1 + masks) + [struct.calcsize(COLUMN)] * columns:
        at += entry
        (length,) = struct.unpack_from("<I", fixed, at - 8)
        struct.pack_into("<I", fixed, at - 4, zlib.crc32(fixed[part_at : part_at + length]))
        part_at += length
    struct.pack_into("<I", fixed, size, zlib.crc32(fixed[:size]))
    return bytes(fixed)


def test_every_flipped_bit_of_the_head_and_bits_all_over_the_rest_are_told() -> None:
    data = sealed()
    in_head = head_size(data) * 8
    for bit in [*range(in_head), *range(in_head, len(data) * 8, 31)]:
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        with pytest.raises(BlockDamagedError):
            decode_block(bytes(flipped))


def test_the_checksum_of_the_whole_tells_a_flipped_bit_too() -> None:
    data = sealed()
    assert checksum(data) == checksum(bytes(bytearray(data)))
    assert checksum(data) != checksum(data[:-1] + bytes([data[-1] ^ 1]))
    # The check value of CRC-32 (ISO-HDLC), as zlib and many standards have it; from memory.
    assert checksum(b"123456789") == 0xCBF43926


def test_a_block_cut_anywhere_or_with_more_behind_it_is_told() -> None:
    data = sealed()
    for size in range(len(data)):
        with pytest.raises(BlockDamagedError):
            decode_block(data[:size])
    with pytest.raises(BlockDamagedError, match="bytes, where"):
        decode_block(data + b"\0")


def test_a_column_that_was_not_asked_for_does_not_spoil_the_others() -> None:
    data = sealed()
    flipped = data[:-1] + bytes([data[-1] ^ 1])
    whole = decode_block(data)
    part = decode_block(flipped, [1, 2, 4])
    np.testing.assert_array_equal(part.columns[2].values, whole.columns[2].values)
    with pytest.raises(BlockDamagedError, match="part"):
        decode_block(flipped, [3])


@settings(derandomize=True, deadline=None)
@given(st.binary(max_size=300))
def test_bytes_of_anything_are_told(data: bytes) -> None:
    with pytest.raises(BlockDamagedError):
        decode_block(data)


def read_or_told(data: bytes) -> None:
    """Read a block, or be told that it is damaged; fail on any other error."""
    try:
        block = decode_block(data)
    except BlockDamagedError:
        return
    assert all(len(column.values) == len(block.at_ms) for column in block.columns.values())


@settings(derandomize=True, deadline=None, max_examples=1500)
@given(st.data())
def test_nothing_crashes_even_where_all_checksums_are_right(data: st.DataObject) -> None:
    forged = bytearray(sealed())
    start = head_size(sealed()) + 4
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(start, len(forged) - 1))
        forged[place] = data.draw(st.integers(0, 255))
    read_or_told(signed_again(bytes(forged)))


@settings(derandomize=True, deadline=None, max_examples=500)
@given(st.data())
def test_nothing_crashes_where_the_head_lies(data: st.DataObject) -> None:
    forged = bytearray(sealed())
    size = head_size(sealed())
    counts = [*range(6, 8), *range(12, 16)]  # another count moves what is checked, and how
    places = [place for place in range(size) if place not in counts]
    for _ in range(data.draw(st.integers(1, 3))):
        forged[data.draw(st.sampled_from(places))] = data.draw(st.integers(0, 255))
    struct.pack_into("<I", forged, size, zlib.crc32(forged[:size]))
    read_or_told(bytes(forged))


def forged_head(rows: int, sizes: list[int], kinds: list[int], mask: int = 0) -> bytes:
    """Return a block of empty parts whose head says so."""
    head = struct.pack(HEAD, b"jblk", 1, len(sizes), rows, 0, len(kinds))
    head += b"".join(struct.pack(PAGE, 0, size) for size in sizes)
    head += struct.pack(PART, 0, 0)
    head += b"".join(struct.pack(COLUMN, 1, kind, mask, 0, 0) for kind in kinds)
    return head + struct.pack("<I", zlib.crc32(head))


@pytest.mark.parametrize(
    "data",
    [
        forged_head(0, [], []),
        forged_head(MAX_ROWS + 1, [MAX_ROWS + 1], []),
        forged_head(2**32 - 1, [2**32 - 1], [1]),
        forged_head(MAX_ROWS, [MAX_ROWS], [1] * 17),
        forged_head(5, [4], [1]),
        forged_head(5, [5, 0], [1]),
        forged_head(5, [5], [9]),
        forged_head(5, [5], [1], mask=1),
    ],
)
def test_counts_that_cannot_be_are_told_before_room_is_made_for_them(data: bytes) -> None:
    tracemalloc.start()
    try:
        with pytest.raises(BlockDamagedError, match="head"):
            decode_block(data)
        assert tracemalloc.get_traced_memory()[1] < 1_000_000
    finally:
        tracemalloc.stop()


def test_another_format_is_named() -> None:
    data = sealed()
    with pytest.raises(BlockDamagedError, match="no block of format 1"):
        decode_block(signed_again(data[:4] + b"\x02" + data[5:]))
