"""Long stretches in which a value stays the same, taken out and put back.

A panel at night, a full battery: hours of one value between hours of noise. Packed together,
the quiet hours pay for the noisy ones' table of bins; taken out, they cost a few bytes each.
"""

import struct
from bisect import bisect_left
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.parts import BlockDamagedError, PartReader, Rows

#: Shorter ones stay: each costs bytes, and a step of a Python loop when decoding.
_SHORTEST = 128
_COUNT = struct.Struct("<I")
_BYTES_EACH = 8

#: Repeats that were taken out: how many, from which value of the column on. None holds the first
#: value of a page, and none reaches into the next page. There are few: plain tuples are faster.
Plateaus = list[tuple[int, int]]
_Whole = TypeVar("_Whole", bound=np.signedinteger[Any])


def find_plateaus(values: NDArray[np.int64], sizes: tuple[int, ...]) -> Plateaus:
    """Return the plateaus that are worth taking out; none is the usual answer."""
    changed = np.empty(len(values), dtype=np.bool_)
    np.not_equal(values[1:], values[:-1], out=changed[1:])
    starts_of_pages = np.cumsum((0, *sizes[:-1]))
    changed[starts_of_pages[starts_of_pages < len(values)]] = True
    (firsts,) = np.nonzero(changed)
    lengths = np.diff(firsts, append=len(values)) - 1
    long = lengths >= _SHORTEST
    if not long.any():
        return []
    # What a repeat costs where it stands: the information in "again the same".
    repeats_ratio = 1 - len(firsts) / len(values)
    saved = lengths[long].sum() * -np.log2(repeats_ratio) / 8
    if saved < _BYTES_EACH * (1 + np.count_nonzero(long)):
        return []
    return list(zip((firsts[long] + 1).tolist(), lengths[long].tolist(), strict=True))


def sizes_without(plateaus: Plateaus, sizes: tuple[int, ...]) -> tuple[int, ...]:
    """Return how many values are left in each page.

    Raises
    ------
    BlockDamagedError
        If a plateau is empty, lies over another, or is not inside one page behind its first value.
    """
    left = list(sizes)
    page, page_start, end_before = -1, 0, 0
    page_end, pages = 0, len(sizes)
    for start, length in plateaus:
        while start >= page_end and page < pages - 1:
            page += 1
            page_start, page_end = page_end, page_end + sizes[page]
        end = start + length
        if not length or start <= page_start or start <= end_before or end > page_end:
            raise BlockDamagedError("plateaus outside the values")
        left[page] -= length
        end_before = end
    return tuple(left)


def take_out(values: NDArray[np.int64], plateaus: Plateaus) -> NDArray[np.int64]:
    """Return the values that are left."""
    kept = np.ones(len(values), dtype=np.bool_)
    for start, length in plateaus:
        kept[start : start + length] = False
    return values[kept]


def encode_plateaus(plateaus: Plateaus) -> bytes:
    """Return plateaus as bytes."""
    fields = [field for plateau in plateaus for field in plateau]
    return _COUNT.pack(len(plateaus)) + struct.pack(f"<{len(fields)}I", *fields)


def decode_plateaus(part: PartReader) -> Plateaus:
    """Return the plateaus that come next in a part."""
    (count,) = part.fields(_COUNT)
    return list(struct.iter_unpack("<II", part.take(_BYTES_EACH * count)))


def plateaus_of(plateaus: Plateaus, rows: Rows) -> Plateaus:
    """Return the plateaus of the wanted pages: a day out of a week's block has few of them."""
    if rows.last - rows.first == len(rows.sizes):
        return plateaus  # all, in whatever order: so that a check of the whole block sees them
    return plateaus[bisect_left(plateaus, (rows.start,)) : bisect_left(plateaus, (rows.stop,))]


def put_back(values: NDArray[_Whole], plateaus: Plateaus, rows: Rows) -> NDArray[_Whole]:
    """Return the values of the wanted pages with their plateaus, which are of those pages, again.

    On whole numbers, before they are made floats, which are up to four times as many bytes.
    """
    first_row = rows.start
    whole = np.empty(rows.stop - first_row, dtype=values.dtype)
    at = source = 0
    for plateau_start, length in plateaus:
        start = plateau_start - first_row
        moved = start - at
        whole[at:start] = values[source : source + moved]
        at, source = start + length, source + moved
        whole[start:at] = values[source - 1]
    whole[at:] = values[source:]
    return whole
