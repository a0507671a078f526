"""Long stretches in which a value stays the same, taken out and put back.

A panel at night, a full battery: hours of one value between hours of noise. Packed together,
the quiet hours pay for the noisy ones' table of bins; taken out, they cost a few bytes each.
"""

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.pages import pack_integers, unpack
from joulebook.storage.blocks.parts import BlockDamagedError, PartReader, Rows, framed

#: Shorter ones stay: each costs bytes, and a step of a Python loop when decoding.
_SHORTEST = 128
_BYTES_EACH, _BYTES_ANYWAY = 4, 40
_COUNT = struct.Struct("<I")


@dataclass(frozen=True, slots=True)
class Plateaus:
    """Repeats that were taken out: ``lengths[j]`` values from ``starts[j]`` on, int64 (m,).

    None holds the first value of a page, and none reaches into the next page.
    """

    starts: NDArray[np.int64]
    lengths: NDArray[np.int64]

    def sizes_without(self, sizes: tuple[int, ...]) -> tuple[int, ...]:
        """Return what is left in each page."""
        if not len(self.starts):
            return sizes
        ends = np.cumsum(sizes)
        page = np.searchsorted(ends, self.starts, side="right")
        taken = np.bincount(page, weights=self.lengths, minlength=len(sizes))
        return tuple(int(size - gone) for size, gone in zip(sizes, taken, strict=True))


def find_plateaus(values: NDArray[np.int64], sizes: tuple[int, ...]) -> Plateaus:
    """Return the plateaus that are worth taking out; none is the usual answer."""
    changed = np.empty(len(values), dtype=np.bool_)
    changed[:1] = True
    np.not_equal(values[1:], values[:-1], out=changed[1:])
    starts_of_pages = np.cumsum((0, *sizes[:-1]))
    changed[starts_of_pages[starts_of_pages < len(values)]] = True
    (firsts,) = np.nonzero(changed)
    lengths = np.diff(firsts, append=len(values)) - 1
    long = lengths >= _SHORTEST
    found = Plateaus(firsts[long] + 1, lengths[long])
    if not len(found.starts):
        return found
    # What a repeat costs where it stands: the information in "again the same".
    repeats_ratio = 1 - len(firsts) / len(values)
    saved = found.lengths.sum() * -np.log2(repeats_ratio) / 8
    if saved < _BYTES_ANYWAY + _BYTES_EACH * len(found.starts):
        return Plateaus(firsts[:0], lengths[:0])
    return found


def take_out(values: NDArray[np.int64], plateaus: Plateaus) -> NDArray[np.int64]:
    """Return the values that are left."""
    kept = np.ones(len(values), dtype=np.bool_)
    for start, length in zip(plateaus.starts, plateaus.lengths, strict=True):
        kept[start : start + length] = False
    return values[kept]


def encode_plateaus(plateaus: Plateaus) -> bytes:
    """Return plateaus as bytes."""
    count = len(plateaus.starts)
    starts = np.diff(plateaus.starts, prepend=0)
    return (
        _COUNT.pack(count)
        + framed(pack_integers(starts, [count], consecutive=False))
        + framed(pack_integers(plateaus.lengths, [count], consecutive=False))
    )


def decode_plateaus(part: PartReader, sizes: tuple[int, ...]) -> Plateaus:
    """Return the plateaus of a column whose pages have so many values with them."""
    (count,) = part.fields(_COUNT)
    packed_starts, packed_lengths = part.framed(), part.framed()
    if count > sum(sizes) // _SHORTEST:
        raise BlockDamagedError(f"{count} plateaus in {sum(sizes)} values")
    starts = np.cumsum(unpack(packed_starts, Rows.whole(count)), dtype=np.int64)
    lengths = unpack(packed_lengths, Rows.whole(count)).astype(np.int64)
    if count:
        _check(starts, lengths, np.cumsum((0, *sizes)))
    return Plateaus(starts, lengths)


def _check(starts: NDArray[np.int64], lengths: NDArray[np.int64], edges: NDArray[np.int64]) -> None:
    """Raise unless each plateau lies behind the one before, and inside a page."""
    total = edges[-1]
    in_reach = starts.min() > 0 and lengths.min() > 0 and max(starts.max(), lengths.max()) < total
    if in_reach and (starts[1:] > (starts + lengths)[:-1]).all():
        first_page = np.searchsorted(edges, starts - 1, side="right")
        last_page = np.searchsorted(edges, starts + lengths - 1, side="right")
        if (first_page == last_page).all() and last_page[-1] < len(edges):
            return
    raise BlockDamagedError("plateaus outside the values")


def put_back(values: NDArray[np.float64], plateaus: Plateaus, rows: Rows) -> NDArray[np.float64]:
    """Return the values of the wanted pages with their plateaus again."""
    first, last = np.searchsorted(plateaus.starts, (rows.start, rows.stop))
    if first == last:
        return values
    whole = np.empty(rows.stop - rows.start, dtype=np.float64)
    at = source = 0
    for start, length in zip(
        (plateaus.starts[first:last] - rows.start).tolist(),
        plateaus.lengths[first:last].tolist(),
        strict=True,
    ):
        moved = start - at
        whole[at:start] = values[source : source + moved]
        at, source = start + length, source + moved
        whole[start:at] = values[source - 1]
    whole[at:] = values[source:]
    return whole
