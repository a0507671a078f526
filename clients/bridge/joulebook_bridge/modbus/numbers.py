"""What words in registers mean: integers and floats of one, two or four registers.

The Modbus documents define nothing wider than 16 bits (Application Protocol V1.1b3, §4.2), so the
order of words is a property of the equipment.
"""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field

#: For each type the format of Python's ``struct``, high byte first.
_FORMATS = {
    "u16": ">H",
    "s16": ">h",
    "u32": ">I",
    "s32": ">i",
    "u64": ">Q",
    "s64": ">q",
    "f32": ">f",
    "f64": ">d",
}
NUMBER_TYPES = tuple(_FORMATS)

#: A power of ten in a register is from -10 to 10 where it means anything (SunSpec's sunssf).
_SCALES = range(-10, 11)


@dataclass(frozen=True, slots=True)
class NumberType:
    """How a number lies in registers."""

    name: str
    low_word_first: bool = False

    @property
    def words(self) -> int:
        """How many registers it takes."""
        return struct.calcsize(_FORMATS[self.name]) // 2

    def decode(self, words: Sequence[int]) -> int | float | None:
        """Return the number that words mean; ``None`` for a float that is not a number."""
        ordered = reversed(words) if self.low_word_first else words
        data = b"".join(word.to_bytes(2, "big") for word in ordered)
        number: int | float = struct.unpack(_FORMATS[self.name], data)[0]
        if isinstance(number, float):
            if not math.isfinite(number):
                return None
            if self.name == "f32":
                return shortest_single(number)
        return number


def shortest_single(number: float) -> float:
    """Return the number with the fewest digits that is the same in 32 bits: 53.12, not 53.11999….

    Parameters
    ----------
    number : float
        Finite, and exactly a float of 32 bits.
    """
    for digits in range(1, 9):
        short = float(f"{number:.{digits}g}")
        try:
            if struct.pack(">f", short) == struct.pack(">f", number):
                return short
        except OverflowError:  # rounded up beyond the largest
            continue
    return float(f"{number:.9g}")  # nine digits tell all floats of 32 bits apart (IEEE 754)


@dataclass(frozen=True, slots=True)
class Scale:
    """From the number in the registers to the value in its unit: (raw - zero) x multiply / divide.

    A product of whole numbers is divided once, so that 1201 with a divisor of 10 is 120.1 and not
    120.10000000000001.
    """

    zero_at: int | float = 0
    multiply_by: int | float = 1
    divide_by: int | float = 1

    def apply(self, raw: int | float, power_of_ten: int = 0) -> float:
        """Return the value; ``power_of_ten`` is what a register of its own says besides."""
        number = (raw - self.zero_at) * self.multiply_by
        if power_of_ten < 0:
            return float(number / (self.divide_by * 10**-power_of_ten))
        return float(number * 10**power_of_ten / self.divide_by)


@dataclass(frozen=True, slots=True)
class Meaning:
    """All that turns the words of one reading into its value.

    Attributes
    ----------
    not_available : tuple of int
        Numbers, as they come from the registers, that mean that nothing was measured.
    turned : bool
        Whether the equipment's sign is the other way round than the vocabulary's.
    """

    number: NumberType
    scale: Scale = field(default_factory=Scale)
    not_available: tuple[int, ...] = ()
    turned: bool = False

    def value(
        self, words: Sequence[int], scale_word: int | None = None, sign_word: int | None = None
    ) -> float | None:
        """Return the value, ``None`` where the equipment gives none.

        Parameters
        ----------
        words : sequence of int
            The registers of the number.
        scale_word : int, optional
            A register that holds the power of ten, signed. Where it holds none, there is no value.
        sign_word : int, optional
            A signed register that lends its sign to a number without one.
        """
        raw = self.number.decode(words)
        if raw is None or raw in self.not_available:
            return None
        power = 0 if scale_word is None else signed(scale_word)
        if power not in _SCALES:
            return None
        negative = self.turned
        if sign_word is not None:
            sign = signed(sign_word)
            if sign == -0x8000:
                return None
            negative = negative != (sign < 0)
        value = self.scale.apply(raw, power)
        # Adding zero makes a turned 0 plain: -0.0 would be another text on the wire.
        return -value + 0.0 if negative else value


def signed(word: int) -> int:
    """Return what one register means as a signed number."""
    return word - 0x10000 if word & 0x8000 else word
