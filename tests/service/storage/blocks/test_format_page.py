"""docs/database-blocks.md is what blocks are: its example reads back, today and in ten years."""

import re
import struct
import zlib
from math import nan
from pathlib import Path

import numpy as np
from pcodec import wrapped

from joulebook.storage.blocks.block import DeviceBlock, decode_block
from joulebook.storage.blocks.columns import Column
from tests.helpers.block_parts import assert_same

PAGE = Path(__file__).parents[4] / "docs" / "database-blocks.md"
START_MS = 1_783_987_200_000  # 2026-07-14 00:00:00 UTC


def example() -> bytes:
    """Return the bytes of the page's example; a comment stands after three blanks."""
    [block] = re.findall(r"^```hex\n(.*?)^```$", PAGE.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    return b"".join(bytes.fromhex(line.split("   ")[0]) for line in block.splitlines())


def test_the_example_reads_as_the_page_says() -> None:
    texts = np.array(["idle", "idle", "charging", None], dtype=np.object_)
    expected = DeviceBlock(
        START_MS + np.array([0, 10_000, 20_000, 40_000]),
        {
            17: Column("number", np.array([51.3, 51.2, nan, 51.2])),
            18: Column("text", texts),
        },
    )
    assert_same(decode_block(example()), expected)


def packed(data: bytes, count: int) -> list[int]:
    """Read one page of packed numbers with the page's table and pcodec alone."""
    kind, meta_size = struct.unpack_from("<BI", data)
    meta, (length,) = data[5 : 5 + meta_size], struct.unpack_from("<I", data, 5 + meta_size)
    file, used = wrapped.FileDecompressor.new(meta)
    name, dtype = {1: ("i16", np.int16), 2: ("i32", np.int32)}[kind]
    values = np.empty(count, dtype=dtype)
    start = 9 + meta_size
    chunk, _ = file.chunk_decompressor(meta[used:], name)
    chunk.read_page_into(data[start : start + length], count, values)
    return [int(value) for value in values]


def test_the_example_reads_without_our_code() -> None:
    data = example()
    assert struct.unpack_from("<4sHHIHH", data) == (b"jblk", 1, 1, 4, 2, 2)
    assert struct.unpack_from("<qI", data, 16) == (START_MS, 4)
    assert struct.unpack_from("<I", data, 90) == (zlib.crc32(data[:90]),)
    axis, mask, numbers = data[94:133], data[133:143], data[153:185]
    assert struct.unpack_from("<II", data, 28) == (len(axis), zlib.crc32(axis))
    assert axis[0] == 2
    assert packed(axis[9:], 4) == [0, 10_000, 20_000, 40_000]
    assert (mask[0], zlib.decompress(mask[1:])) == (1, b"\xd0")
    assert struct.unpack_from("<BBqB", numbers) == (2, 1, 1, 0)
    assert [value / 10 for value in packed(numbers[11:], 3)] == [51.3, 51.2, 51.2]
