"""Which rows of a block have a value of a column: runs or a bitmap, whichever is smaller."""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.pages import pack_integers, unpack_integers
from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, PartReader, Rows

_BITMAP, _RUNS = 1, 2
_FORM = struct.Struct("<B")
_RUNS_HEAD = struct.Struct("<?I")
#: More changes than one in so many rows, and runs are not even tried.
_FEW_CHANGES = 8


def encode_presence(present: NDArray[np.bool_]) -> bytes:
    """Return a mask over the rows as bytes."""
    bitmap = _FORM.pack(_BITMAP) + zlib.compress(np.packbits(present).tobytes())
    (changes,) = np.nonzero(present[1:] != present[:-1])
    if len(changes) * _FEW_CHANGES > len(present):
        return bitmap
    lengths = np.diff(changes, prepend=-1)  # the last run reaches to the end
    runs = (
        _FORM.pack(_RUNS)
        + _RUNS_HEAD.pack(present[0], len(lengths))
        + pack_integers(lengths, [len(lengths)], consecutive=False)
    )
    return min(runs, bitmap, key=len)


def decode_presence(data: Bytes, rows: int) -> NDArray[np.bool_]:
    """Return the mask over all rows of the block."""
    part = PartReader(data)
    (form,) = part.fields(_FORM)
    if form == _BITMAP:
        return _decode_bitmap(part.rest(), rows)
    if form == _RUNS:
        return _decode_runs(part, rows)
    raise BlockDamagedError(f"presence of an unknown form {form}")


def _decode_bitmap(packed: Bytes, rows: int) -> NDArray[np.bool_]:
    bits = inflate(packed, (rows + 7) // 8)
    return np.unpackbits(np.frombuffer(bits, dtype=np.uint8), count=rows).view(np.bool_)


def _decode_runs(part: PartReader, rows: int) -> NDArray[np.bool_]:
    first, count = part.fields(_RUNS_HEAD)
    if count >= rows:
        raise BlockDamagedError(f"{count} runs in {rows} rows")
    lengths = np.empty(count + 1, dtype=np.int64)
    lengths[:-1] = unpack_integers(part.rest(), Rows.whole(count))
    lengths[-1] = rows - lengths[:-1].sum()
    if lengths.min() < 1 or lengths.max() > rows:
        raise BlockDamagedError("runs outside the rows")
    return np.repeat(np.arange(count + 1) % 2 == (0 if first else 1), lengths)


def inflate(packed: Bytes, size: int) -> bytes:
    """Return what zlib packed, if it is ``size`` bytes; no more than that is ever made."""
    inflater = zlib.decompressobj()
    try:
        data = inflater.decompress(packed, max(size, 1))
    except zlib.error as error:
        raise BlockDamagedError(f"bytes cannot be inflated: {error}") from error
    if len(data) != size or not inflater.eof:
        raise BlockDamagedError(f"inflates to other than {size} bytes")
    return data
