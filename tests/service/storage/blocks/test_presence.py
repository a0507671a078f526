"""Which rows have a value."""

import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.blocks.presence import decode_presence, encode_presence
from tests.helpers.block_parts import integers


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.booleans(), min_size=1, max_size=300)
    | st.builds(lambda a, b, c: [a] * b + [not a] * c, st.booleans(), *2 * [st.integers(1, 9999)])
)
def test_any_mask_comes_back(mask: list[bool]) -> None:
    assert decode_presence(encode_presence(np.array(mask)), len(mask)).tolist() == mask


def test_a_night_without_readings_is_two_runs() -> None:
    mask = np.ones(8640, dtype=np.bool_)
    mask[2000:4000] = False
    assert len(encode_presence(mask)) < 30


def test_single_readings_missing_at_random_cost_bits() -> None:
    mask = np.random.default_rng(1).random(8640) >= 0.01
    assert len(encode_presence(mask)) < 8640 * 0.025
    mask = np.random.default_rng(1).random(8640) >= 0.5
    assert len(encode_presence(mask)) < 8640 / 8 * 1.05


def runs(*lengths: int) -> bytes:
    return b"\x02" + struct.pack("<?I", True, len(lengths)) + integers(*lengths)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x07",
        b"\x01not zlib",
        b"\x01" + zlib.compress(b"\xff"),
        b"\x01" + zlib.compress(bytes(10**6)),  # swells to more than the rows have bits
        b"\x01" + zlib.compress(b"\xff\xff")[:-1],
        runs(*[1] * 16),
        runs(16),
        runs(-1, 3),
        runs(0, 3),
        runs(2**62, 2**62, 2**62, 2**62),  # sums to 0 in 64 bits
    ],
)
def test_what_is_no_mask_of_16_rows_is_damage(data: bytes) -> None:
    with pytest.raises(BlockDamagedError):
        decode_presence(data, 16)
