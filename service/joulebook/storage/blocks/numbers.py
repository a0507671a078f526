"""Numbers as what they were before they were floats: a whole number of steps of a decimal.

A device that reports 0.1 V sends 51.3, which no float64 is; but ``513 / 10`` is the float64
nearest to it, the very bits that came. So the 513 is kept, and only where that division gives
back every bit of every value of the column; else the floats themselves are.
"""

import struct

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.pages import pack_floats, pack_integers, unpack
from joulebook.storage.blocks.parts import BlockDamagedError, PartReader, Rows
from joulebook.storage.blocks.plateaus import (
    decode_plateaus,
    encode_plateaus,
    find_plateaus,
    put_back,
    take_out,
)

_FLOATS, _INTEGERS = 1, 2
_FORM = struct.Struct("<B")
_SCALE = struct.Struct("<Bq?")  # decimal places, step, whether plateaus were taken out
#: 10 ** 22 is the last power of ten that is a float64; devices send six places at most.
_MOST_PLACES = 9
_SAMPLE = 64


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
    scaled = _as_integers(values)
    if scaled is None:
        return _FORM.pack(_FLOATS) + pack_floats(values, sizes)
    integers, places = scaled
    step = _step_of(integers)
    if step > 1:
        integers //= step
    plateaus = find_plateaus(integers, sizes)
    cut = len(plateaus.starts) > 0
    head = _FORM.pack(_INTEGERS) + _SCALE.pack(places, step, cut)
    if cut:
        left = take_out(integers, plateaus)
        return head + encode_plateaus(plateaus) + pack_integers(left, plateaus.sizes_without(sizes))
    return head + pack_integers(integers, sizes)


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
    scaled = np.rint(values * scale)
    # Bits, not values, are compared: 0 / 10 equals -0.0 and is another number.
    same = (scaled / scale + 0.0).view(np.int64) == values.view(np.int64)
    return scaled if same.all() else None


def _step_of(integers: NDArray[np.int64]) -> int:
    """Return the largest number that all are multiples of, at least 1."""
    step = int(np.gcd.reduce(integers[:: max(1, len(integers) // _SAMPLE)]))
    if step > 1 and (integers % step).any():
        step = int(np.gcd.reduce(integers))
    return max(step, 1)


def decode_numbers(data: bytes, rows: Rows) -> NDArray[np.float64]:
    """Return the numbers of the wanted pages, float64."""
    if not rows.total:
        return np.empty(0)
    part = PartReader(data)
    (form,) = part.fields(_FORM)
    if form == _FLOATS:
        return unpack(part.rest(), rows).astype(np.float64, copy=False)
    if form != _INTEGERS:
        raise BlockDamagedError(f"numbers of an unknown form {form}")
    places, step, cut = part.fields(_SCALE)
    if places > _MOST_PLACES:
        raise BlockDamagedError(f"numbers with {places} decimal places")
    if not cut:
        return _scaled(unpack(part.rest(), rows), places, step)
    plateaus = decode_plateaus(part, rows.sizes)
    left = Rows(plateaus.sizes_without(rows.sizes), rows.first, rows.last)
    return put_back(_scaled(unpack(part.rest(), left), places, step), plateaus, rows)


def _scaled(integers: NDArray[np.signedinteger], places: int, step: int) -> NDArray[np.float64]:
    if step != 1:
        values = np.multiply(integers, float(step), dtype=np.float64)
        return np.divide(values, 10.0**places, out=values) if places else values
    if places:
        return np.divide(integers, 10.0**places, dtype=np.float64)
    return integers.astype(np.float64)
