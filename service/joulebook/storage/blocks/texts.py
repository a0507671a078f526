"""Texts, such as an inverter's state: each distinct one once, and its number in every row."""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.pages import pack_integers, unpack_integers
from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, PartReader, Rows, framed
from joulebook.storage.blocks.presence import inflate

_HEAD = struct.Struct("<II")  # distinct texts, their bytes in UTF-8


def encode_texts(texts: NDArray[np.object_], sizes: tuple[int, ...]) -> bytes:
    """Return texts, object (n,) of str, as bytes."""
    if not len(texts):
        return b""
    numbers: dict[str, int] = {}
    codes = [numbers.setdefault(text, len(numbers)) for text in texts.tolist()]
    # Half of a surrogate pair is no text, but it must not stop a block from being sealed.
    distinct = [text.encode("utf-8", "surrogatepass") for text in numbers]
    lengths = np.array([len(text) for text in distinct], dtype=np.int64)
    return (
        _HEAD.pack(len(distinct), int(lengths.sum()))
        + framed(pack_integers(lengths, [len(lengths)], consecutive=False))
        + framed(zlib.compress(b"".join(distinct)))
        + pack_integers(np.array(codes, dtype=np.int64), sizes)
    )


def decode_texts(data: Bytes, rows: Rows) -> NDArray[np.object_]:
    """Return the texts of the wanted pages, object (n,) of str."""
    if not rows.total:
        return np.empty(0, dtype=np.object_)
    part = PartReader(data)
    count, size = part.fields(_HEAD)
    if not 0 < count <= rows.total:
        raise BlockDamagedError(f"{count} distinct texts in {rows.total} rows")
    lengths = unpack_integers(part.framed(), Rows.whole(count)).astype(np.int64)
    if lengths.min() < 0 or lengths.max() > size or lengths.sum() != size:
        raise BlockDamagedError(f"texts of other than {size} bytes")
    together = inflate(part.framed(), size)
    ends = np.cumsum(lengths).tolist()
    distinct = np.empty(count, dtype=np.object_)
    try:
        for number, (start, end) in enumerate(zip([0, *ends], ends, strict=False)):
            distinct[number] = together[start:end].decode("utf-8", "surrogatepass")
    except UnicodeDecodeError as error:
        raise BlockDamagedError(f"text that is not UTF-8: {error}") from error
    codes = unpack_integers(part.rest(), rows)
    if len(codes) and (codes.min() < 0 or codes.max() >= count):
        raise BlockDamagedError("a text that is not in the list")
    return distinct[codes.astype(np.int64)]
