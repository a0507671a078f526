"""Numbers as whole numbers of a decimal step, where that gives back every bit."""

import struct
from decimal import Decimal
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from joulebook.storage.blocks.numbers import decode_numbers, encode_numbers
from joulebook.storage.blocks.parts import BlockDamagedError, Rows
from tests.helpers.block_parts import cut_evenly, integers

FLOATS, INTEGERS = 1, 2
SUBNORMAL = 5e-324


def there_and_back(values: NDArray[np.float64]) -> bytes:
    """Return the bytes of a column, after all and each of its pages came back from them."""
    sizes = cut_evenly(len(values), 3)
    data = encode_numbers(values, sizes)
    back = decode_numbers(data, Rows.whole(*sizes))
    assert back.dtype == np.float64
    assert back.view(np.int64).tolist() == values.view(np.int64).tolist()
    for page in range(len(sizes)):
        rows = Rows(sizes, page, page + 1)
        one = decode_numbers(data, rows).view(np.int64).tolist()
        assert one == values[rows.start : rows.stop].view(np.int64).tolist()
    return data


def head(data: bytes) -> tuple[int, int]:
    """Return decimal places and step, as the format's page describes them."""
    form, places, step, _ = struct.unpack_from("<BBqB", data)
    assert form == INTEGERS
    return places, step


@pytest.mark.parametrize(
    ("texts", "places", "step"),
    [
        (["51.3", "51.2", "-0.1"], 1, 1),
        (["0.333", "0.5"], 3, 1),
        (["0.25", "0.75", "-1.25"], 2, 25),
        (["12345600", "12345700"], 0, 100),
        (["0.0"], 0, 1),
        (["230.123456789", "0.000000001"], 9, 1),
        (["9007199254740993", "4"], 0, 4),  # the text is 2**53 + 1; the float64 is 2**53
        (["9223372036854774784"], 0, 9223372036854774784),  # the largest float below 2**63
    ],
)
def test_decimals_are_kept_as_whole_numbers(texts: list[str], places: int, step: int) -> None:
    # float() of a decimal text is the nearest float64: the bits a JSON reader makes of it.
    values = np.array([float(Decimal(text)) for text in texts])
    assert head(there_and_back(values)) == (places, step)


@pytest.mark.parametrize(
    "values",
    [
        [0.1 + 0.2],  # 0.30000000000000004
        [1 / 3],
        [inf, 1.0],
        [-inf],
        [SUBNORMAL],
        [2.0**63],
        [-(2.0**63)],
        [1e300, -1e300],
        [9e15, 0.1],
        [0.1] * 500 + [1 / 3] + [0.1] * 499,  # the sample looks as if it were decimal
    ],
)
def test_what_no_decimal_gives_back_is_kept_as_floats(values: list[float]) -> None:
    assert there_and_back(np.array(values))[0] == FLOATS


def test_a_negative_zero_keeps_its_sign_and_costs_its_column_little() -> None:
    volts = np.rint(np.random.default_rng(1).normal(0, 20, 8640)) / 10
    without = len(there_and_back(volts + 0.0))
    assert np.signbit(volts[volts == 0]).any()
    data = there_and_back(volts)
    assert head(data) == (1, 1)
    assert len(data) < without + 300


def test_a_step_that_only_the_sample_has_is_not_taken_for_everybodys() -> None:
    values = np.arange(1000, dtype=np.float64) * 100
    assert head(there_and_back(values)) == (0, 100)
    values[999] = 30.0
    assert head(there_and_back(values)) == (0, 10)


def test_no_values_are_no_bytes() -> None:
    assert encode_numbers(np.empty(0), (0, 0)) == b""
    assert decode_numbers(b"", Rows.whole(0, 0)).shape == (0,)


NUMBERS = (
    st.floats(allow_nan=False)
    | st.sampled_from([0.0, -0.0, inf, -inf, SUBNORMAL, -SUBNORMAL, 2.0**53 + 2, 1.7e308])
    | st.integers(-(10**6), 10**6).map(lambda tenths: tenths / 10)
)


@settings(derandomize=True, deadline=None)
@given(st.lists(NUMBERS, min_size=1, max_size=200))
def test_any_numbers_come_back_bit_for_bit(values: list[float]) -> None:
    there_and_back(np.array(values, dtype=np.float64))


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.integers(-(2**40), 2**40), min_size=1, max_size=400),
    st.integers(0, 9),
    st.sampled_from([1, 2, 5, 10, 100, 3600]),
)
def test_any_decimals_come_back_bit_for_bit(counts: list[int], places: int, step: int) -> None:
    there_and_back(np.array(counts, dtype=np.float64) * step / 10**places)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x03" + integers(1, 2, 3),
        struct.pack("<BBqB", INTEGERS, 10, 1, 0) + integers(1, 2, 3),
        struct.pack("<BBqB", INTEGERS, 0, 1, 1) + b"\xff\xff\xff\xff" + integers(1, 2, 3),
        struct.pack("<BBqB", INTEGERS, 0, 1, 1) + struct.pack("<III", 1, 0, 1) + integers(1, 2),
    ],
)
def test_what_is_no_column_of_numbers_is_damage(data: bytes) -> None:
    with pytest.raises(BlockDamagedError):
        decode_numbers(data, Rows.whole(3))
