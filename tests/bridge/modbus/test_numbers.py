"""Numbers in registers. Sources: Python's ``struct`` (IEEE 754, two's complement) and pymodbus."""

import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.client import ModbusTcpClient

from joulebook_bridge.modbus.numbers import (
    NUMBER_TYPES,
    Meaning,
    NumberType,
    Scale,
    shortest_single,
    signed,
)

CLIENT_TYPES = {
    "u16": ModbusTcpClient.DATATYPE.UINT16,
    "s16": ModbusTcpClient.DATATYPE.INT16,
    "u32": ModbusTcpClient.DATATYPE.UINT32,
    "s32": ModbusTcpClient.DATATYPE.INT32,
    "u64": ModbusTcpClient.DATATYPE.UINT64,
    "s64": ModbusTcpClient.DATATYPE.INT64,
}


def number(name: str, words: list[int], *, low_first: bool = False) -> int | float | None:
    return NumberType(name, low_first).decode(words)


def test_a_register_is_sent_high_byte_first() -> None:
    # CV-10: Modbus Application Protocol V1.1b3, §4.2: 1234h goes out as 12 34.
    assert number("u16", [0x1234]) == 0x1234


def test_the_order_of_words_is_the_equipments() -> None:
    # CV-11: pymodbus convert_to_registers, pysunspec2 data_to_u32 and struct agree.
    assert number("u32", [0x0001, 0x86A0]) == 100000
    assert number("u32", [0x86A0, 0x0001], low_first=True) == 100000
    # CV-11c: what the wrong order shows.
    assert number("u32", [0x0001, 0x86A0], low_first=True) == 2258632705


def test_negative_numbers_of_two_registers_and_of_one() -> None:
    # CV-12: pymodbus and pysunspec2 data_to_s32.
    assert number("s32", [0xFFFF, 0xFB90]) == -1136
    assert number("s32", [0xFB90, 0xFFFF], low_first=True) == -1136
    assert number("s16", [0xFB90]) == -1136
    assert number("u16", [0xFB90]) == 64400


def test_floats() -> None:
    # CV-13: pymodbus convert_to_registers, and IEEE 754 by hand for 50.0.
    assert number("f32", [0x4248, 0x0000]) == 50.0
    assert number("f32", [0x0000, 0x4248], low_first=True) == 50.0
    assert number("f32", [0x4254, 0x7AE1]) == 53.12
    misread = number("f32", [0x0000, 0x4248])
    assert misread is not None
    assert math.isclose(misread, 2.378e-41, rel_tol=1e-3)


def test_four_registers() -> None:
    # CV-13c: struct.
    assert number("u64", [0x0000, 0x001C, 0xBE99, 0x1A14]) == 123456789012


def test_floats_that_are_no_numbers_are_missing() -> None:
    # IEEE 754: exponent of ones.
    assert number("f32", [0x7FC0, 0]) is None
    assert number("f32", [0x7F80, 0]) is None
    assert number("f64", [0x7FF8, 0, 0, 0]) is None
    assert number("f64", [0x4000, 0, 0, 0]) == 2.0


@pytest.mark.parametrize(("raw", "shown"), [(1201, "120.1"), (613, "61.3"), (998, "99.8")])
def test_tenths_are_divided_and_not_multiplied(raw: int, shown: str) -> None:
    # CV-14: decimal arithmetic; 1201 * 0.1 is 120.10000000000001 in binary.
    assert repr(Scale(divide_by=10).apply(raw)) == shown
    assert repr(Scale().apply(raw, -1)) == shown


def test_scale_and_power_of_ten_are_divided_once() -> None:
    # By hand: 613 x 10^-1 percent is 0.613; two divisions would give 0.6129999999999999 or so.
    assert Scale(divide_by=100).apply(613, -1) == 0.613
    assert Scale(divide_by=100).apply(998, -1) == 0.998
    assert Scale().apply(1608, 1) == 16080.0
    assert Scale(zero_at=1000, divide_by=10).apply(1234) == 23.4
    assert Scale(multiply_by=10).apply(7) == 70.0


@pytest.mark.parametrize("name", sorted(CLIENT_TYPES))
@given(data=st.data(), low_first=st.booleans())
@settings(derandomize=True, deadline=None, max_examples=50)
def test_whole_numbers_are_read_as_pymodbus_writes_them(
    name: str, data: st.DataObject, low_first: bool
) -> None:
    kind = NumberType(name, low_first)
    bits = 16 * kind.words
    low = -(1 << bits - 1) if name.startswith("s") else 0
    value = data.draw(st.integers(low, low + (1 << bits) - 1))
    words = ModbusTcpClient.convert_to_registers(
        value, CLIENT_TYPES[name], word_order="little" if low_first else "big"
    )
    assert kind.decode(words) == value


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
@settings(derandomize=True, deadline=None, max_examples=300)
def test_the_shortest_number_is_the_same_float_of_32_bits(value: float) -> None:
    short = shortest_single(value)
    assert struct.pack(">f", short) == struct.pack(">f", value)
    assert float(f"{short:.9g}") == short  # nine digits tell them all apart (IEEE 754)


def test_the_largest_single_rounds_beyond_itself_on_the_way() -> None:
    # IEEE 754: (2 - 2^-23) x 2^127. With few digits it would round up to infinity.
    largest = struct.unpack(">f", bytes.fromhex("7f7fffff"))[0]
    assert shortest_single(largest) == 3.4028235e38
    # Nine digits are sometimes needed: 2^-23 above 1024 (0x44800001).
    odd = struct.unpack(">f", bytes.fromhex("4b9a6e93"))[0]
    assert struct.pack(">f", shortest_single(odd)) == bytes.fromhex("4b9a6e93")


def test_marks_of_not_available_are_missing_and_never_a_number() -> None:
    meaning = Meaning(NumberType("u16"), not_available=(0xFFFF,))
    assert meaning.value([0xFFFF]) is None
    assert meaning.value([0xFFFE]) == 65534


def test_a_power_of_ten_of_its_own() -> None:
    meaning = Meaning(NumberType("s16"))
    assert meaning.value([531], scale_word=0xFFFF) == 53.1  # -1
    assert meaning.value([1608], scale_word=1) == 16080.0
    # CV-24: a scale that is not implemented leaves no value: nobody could say of which size.
    assert meaning.value([531], scale_word=0x8000) is None
    assert meaning.value([531], scale_word=11) is None


def test_a_sign_from_the_register_beside_it() -> None:
    meaning = Meaning(NumberType("u16"))
    assert meaning.value([214], sign_word=0xFFFF) == -214.0
    assert meaning.value([214], sign_word=1137) == 214.0
    assert meaning.value([214], sign_word=0x8000) is None
    turned = Meaning(NumberType("u16"), turned=True)
    assert turned.value([214], sign_word=1137) == -214.0
    assert turned.value([214], sign_word=0xFFFF) == 214.0


def test_a_turned_zero_is_a_plain_zero() -> None:
    assert math.copysign(1, Meaning(NumberType("s16"), turned=True).value([0]) or 0.0) == 1


def test_signed() -> None:
    assert (signed(0x7FFF), signed(0x8000), signed(0xFFFF)) == (32767, -32768, -1)
    assert len(NUMBER_TYPES) == 8
