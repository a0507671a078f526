"""Texts, each distinct one once."""

import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from joulebook.storage.blocks.parts import BlockDamagedError, Rows, framed
from joulebook.storage.blocks.texts import decode_texts, encode_texts
from tests.helpers.block_parts import integers


def objects(texts: list[str]) -> NDArray[np.object_]:
    array = np.empty(len(texts), dtype=np.object_)
    array[:] = texts
    return array


@settings(derandomize=True, deadline=None)
@given(
    st.lists(
        st.text() | st.sampled_from(["", "idle", "\0", "Störung", "\ud800", "🔋"]), max_size=60
    )
)
def test_any_texts_come_back(texts: list[str]) -> None:
    data = encode_texts(objects(texts), (len(texts),))
    assert decode_texts(data, Rows.whole(len(texts))).tolist() == texts


def test_a_state_that_changes_twice_a_day_takes_next_to_nothing() -> None:
    texts = ["standby"] * 3000 + ["charging"] * 3000 + ["standby"] * 2640
    data = encode_texts(objects(texts), (4000, 4640))
    assert len(data) < 150
    assert decode_texts(data, Rows((4000, 4640), 1, 2)).tolist() == texts[4000:]


def texts_part(count: int, size: int, lengths: bytes, packed: bytes, codes: bytes) -> bytes:
    return struct.pack("<II", count, size) + framed(lengths) + framed(packed) + codes


AB = zlib.compress(b"ab")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        texts_part(0, 0, b"", zlib.compress(b""), integers(0, 0)),
        texts_part(3, 2, integers(1, 1, 0), AB, integers(0, 1)),  # more than there are rows
        texts_part(2, 3, integers(1, 1), AB, integers(0, 1)),
        texts_part(2, 2, integers(3, -1), AB, integers(0, 1)),
        texts_part(2, 2, integers(-1, 3), AB, integers(0, 1)),
        texts_part(2, 3, integers(1, 2), AB, integers(0, 1)),
        texts_part(2, 2, integers(1, 1), AB, integers(0, 2)),
        texts_part(2, 2, integers(1, 1), AB, integers(-1, 0)),
        texts_part(2, 2, integers(1, 1), zlib.compress(b"\xff\xff"), integers(0, 1)),
    ],
)
def test_what_is_no_column_of_texts_is_damage(data: bytes) -> None:
    with pytest.raises(BlockDamagedError):
        decode_texts(data, Rows.whole(2))
