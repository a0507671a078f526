"""Numbers as what they were before they were floats: a whole number of steps of a decimal.

A device that reports 0.1 V sends 51.3, which no float64 is; but ``513 / 10`` is the float64
nearest to it, the very bits that came. So the 513 is kept, and only where that division gives
back every bit of every value of the column; else the floats themselves are.
"""

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.pages import (
    pack_floats,
    pack_integers,
    unpack_floats,
    unpack_integers,
)
from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, PartReader, Rows, framed
from joulebook.storage.blocks.plateaus import (
    Plateaus,
    decode_plateaus,
    encode_plateaus,
    find_plateaus,
    plateaus_of,
    put_back,
    sizes_without,
    take_out,
)
from joulebook.storage.blocks.presence import decode_presence, encode_presence

_FLOATS, _INTEGERS = 1, 2
_FORM = struct.Struct("<B")
_HEAD = struct.Struct("<BBqB")  # form, decimal places, step, which of the two below follow
_WITH_PLATEAUS, _WITH_NEGATIVE_ZEROS = 1, 2
#: 10 ** 22 is the last power of ten that is a float64; devices send six places at most.
_MOST_PLACES = 9
_SAMPLE = 64
_NEGATIVE_ZERO = np.int64(-(2**63))  # its bits


def encode_numbers(values: NDArray[np.float64], sizes: tuple[int, ...]) -> bytes:
    """Return numbers as bytes, bit for bit.

    Parameters
    ----------
    values : float64 array, shape (n,)
        Without NaN; infinities and -0.0 survive.
    sizes : tuple of int
        How many of them are in each page; they sum to n.
    """
    if not len(values):
        return b""
    # A computed -0.04, rounded to one place, is -0.0. Whole numbers have no such thing; as
    # floats the whole column would take half as much again, so these are listed.
    negative_zeros = values.view(np.int64) == _NEGATIVE_ZERO
    listed = bool(negative_zeros.any())
    scaled = _as_integers(values + 0.0 if listed else values)  # -0.0 + 0.0 is 0.0
    if scaled is None:
        return _FORM.pack(_FLOATS) + pack_floats(values, sizes)
    integers, places = scaled
    step = _step_of(integers)
    if step > 1:
        integers //= step
    plateaus = find_plateaus(integers, sizes)
    cut = bool(plateaus)
    extras = cut * _WITH_PLATEAUS | listed * _WITH_NEGATIVE_ZEROS
    parts = [_HEAD.pack(_INTEGERS, places, step, extras)]
    if listed:
        parts.append(framed(encode_presence(negative_zeros)))
    if cut:
        parts.append(encode_plateaus(plateaus))
        integers, sizes = take_out(integers, plateaus), sizes_without(plateaus, sizes)
    parts.append(pack_integers(integers, sizes))
    return b"".join(parts)


def _as_integers(values: NDArray[np.float64]) -> tuple[NDArray[np.int64], int] | None:
    """Return whole numbers and the decimal places that give the values back, if any do."""
    sample = values[:: max(1, len(values) // _SAMPLE)]
    largest = max(-values.min(), values.max())
    for places in range(_MOST_PLACES + 1):
        scale = 10.0**places
        # Beyond 2**53 floats with decimals are rare; a whole number may be larger.
        if not largest * scale < (2**53 if places else 2**63):
            return None
        if _given_back(sample, scale) is not None:
            scaled = _given_back(values, scale)
            if scaled is not None:
                return scaled.astype(np.int64), places
    return None


def _given_back(values: NDArray[np.float64], scale: float) -> NDArray[np.float64] | None:
    """Return the whole numbers of ``1 / scale`` if they give back every bit, else nothing."""
    scaled = values * scale
    np.rint(scaled, out=scaled)
    # Bits, not values, are compared: 0 / 10 equals -0.0 and is another number.
    same = (scaled / scale + 0.0).view(np.int64) == values.view(np.int64)
    return scaled if same.all() else None


def _step_of(integers: NDArray[np.int64]) -> int:
    """Return the largest number that all are multiples of, at least 1."""
    step = int(np.gcd.reduce(integers[:: max(1, len(integers) // _SAMPLE)]))
    if step > 1 and (integers % step).any():
        step = int(np.gcd.reduce(integers))
    return max(step, 1)


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """Numbers as they are kept: ``whole · step / 10 ** places``, but for negative zeros.

    Attributes
    ----------
    whole : int16, int32, int64 or float64 array, shape (n,)
        Floats where they are kept as that; then one is worth 1.
    negative_zeros : bool array, shape (n,), or None
        Which of the zeros are -0.0.
    """

    whole: NDArray[Any]
    places: int = 0
    step: int = 1
    negative_zeros: NDArray[np.bool_] | None = None

    def values(self) -> NDArray[np.float64]:
        """Return the numbers, bit for bit."""
        if self.whole.dtype == np.float64:
            return self.whole
        # Converted first: an operation that converts on the way takes eight times as long.
        values = self.whole.astype(np.float64)
        if self.step != 1:
            values *= float(self.step)
        if self.places:
            values /= 10.0**self.places
        if self.negative_zeros is not None:
            values[self.negative_zeros] = -0.0
        return values


def decode_numbers(data: Bytes, rows: Rows) -> NDArray[np.float64]:
    """Return the numbers of the wanted pages, float64."""
    return decode_whole(data, rows).values()


def decode_whole(data: Bytes, rows: Rows) -> Whole:
    """Return the numbers of the wanted pages as they are kept."""
    if not rows.total:
        return Whole(np.empty(0))
    try:  # at once: field by field would take a fifth of the time of a page
        form, places, step, extras = _HEAD.unpack_from(data)
    except struct.error as error:
        raise BlockDamagedError(f"numbers end early: {error}") from error
    if form == _FLOATS:
        return Whole(unpack_floats(data[_FORM.size :], rows))
    if form != _INTEGERS:
        raise BlockDamagedError(f"numbers of an unknown form {form}")
    if places > _MOST_PLACES:
        raise BlockDamagedError(f"numbers with {places} decimal places")
    if not extras:
        return Whole(unpack_integers(data[_HEAD.size :], rows), places, step)
    part = PartReader(data[_HEAD.size :])
    negative_zeros = None
    if extras & _WITH_NEGATIVE_ZEROS:
        negative_zeros = decode_presence(part.framed(), rows.total)[rows.start : rows.stop]
    plateaus: Plateaus = []
    left = rows
    if extras & _WITH_PLATEAUS:
        plateaus = plateaus_of(decode_plateaus(part), rows)
        left = Rows(sizes_without(plateaus, rows.sizes), rows.first, rows.last)
    whole = unpack_integers(part.rest(), left)
    if plateaus:
        whole = put_back(whole, plateaus, rows)
    return Whole(whole, places, step, negative_zeros)
