"""Whole numbers and floats through pcodec, in pages that can be read one by one.

The numbers of a column share one table of bins (the chunk's metadata), and each page, a UTC day
as a rule, decodes by itself: a day out of a week's block costs a day.
"""

import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pcodec import ChunkConfig, DeltaSpec, ModeSpec, PagingSpec, wrapped

from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, Rows

# int8 is left out: pcodec takes it only when told to, and packs int16 as tightly.
_TYPES: dict[int, tuple[type[np.signedinteger[Any] | np.float64], str]] = {
    1: (np.int16, "i16"),
    2: (np.int32, "i32"),
    3: (np.int64, "i64"),
    4: (np.float64, "f64"),
}
_CODES = {np.dtype(kind): code for code, (kind, _) in _TYPES.items()}
_HEAD = struct.Struct("<BI")


def pack_integers(
    values: NDArray[np.int64], sizes: Sequence[int], *, consecutive: bool = True
) -> bytes:
    """Return whole numbers as bytes.

    Parameters
    ----------
    values : int64 array, shape (n,)
    sizes : sequence of int
        How many of them are in each page; they sum to n.
    consecutive : bool
        Pack each one's difference from the one before: for whatever moves slowly.
    """
    if not len(values):
        return b""
    low, high = values.min(), values.max()
    narrow = next(
        kind
        for kind in (np.int16, np.int32, np.int64)
        if np.iinfo(kind).min <= low and high <= np.iinfo(kind).max
    )
    # Named, not left to choose: on such signals the automatic choice took a tenth more
    # bytes for a day, and longer (docs/decisions/0006-sealed-blocks.md).
    delta = DeltaSpec.try_consecutive(1) if consecutive else DeltaSpec.no_op()
    return _pack(values.astype(narrow), sizes, ModeSpec.classic(), delta)


def pack_floats(values: NDArray[np.float64], sizes: Sequence[int]) -> bytes:
    """Return floats as bytes, bit for bit; see `pack_integers`."""
    if not len(values):
        return b""
    # The mode is left to choose: it finds floats that were float32, or multiples of a step.
    return _pack(values, sizes, ModeSpec.auto(), DeltaSpec.try_consecutive(1))


def _pack(values: NDArray[Any], sizes: Sequence[int], mode: ModeSpec, delta: DeltaSpec) -> bytes:
    config = ChunkConfig(
        compression_level=8,
        mode_spec=mode,
        delta_spec=delta,
        paging_spec=PagingSpec.exact_page_sizes([size for size in sizes if size]),
    )
    file = wrapped.FileCompressor()
    chunk = file.chunk_compressor(values, config)
    meta = file.write_header() + chunk.write_meta()
    # pcodec refuses a page of nothing; it is no bytes here.
    written = (chunk.write_page(number) for number in range(len(chunk.n_per_page())))
    pages = [next(written) if size else b"" for size in sizes]
    lengths = struct.pack(f"<{len(pages)}I", *map(len, pages))
    return b"".join((_HEAD.pack(_CODES[values.dtype], len(meta)), meta, lengths, *pages))


def unpack_integers(data: Bytes, rows: Rows) -> NDArray[np.signedinteger[Any]]:
    """Return the whole numbers of the wanted pages, int16, int32 or int64.

    Raises
    ------
    BlockDamagedError
        If the bytes are not what packing so many numbers makes.
    """
    integers: NDArray[np.signedinteger[Any]] = _unpack(data, rows, (1, 2, 3))
    return integers


def unpack_floats(data: Bytes, rows: Rows) -> NDArray[np.float64]:
    """Return the floats of the wanted pages; see `unpack_integers`."""
    floats: NDArray[np.float64] = _unpack(data, rows, (4,))
    return floats


def _unpack(data: Bytes, rows: Rows, codes: tuple[int, ...]) -> NDArray[Any]:
    wanted = rows.stop - rows.start
    if not wanted:
        return np.empty(0, dtype=_TYPES[codes[0]][0])
    count = len(rows.sizes)
    try:  # field by field as elsewhere would take a third of the time of a page
        code, meta_size = _HEAD.unpack_from(data)
        at = _HEAD.size + meta_size + 4 * count
        lengths = struct.unpack_from(f"<{count}I", data, at - 4 * count)
    except struct.error as error:
        raise BlockDamagedError(f"packed numbers end early: {error}") from error
    if code not in codes:
        raise BlockDamagedError(f"numbers of type {code}, not of {codes}")
    kind, name = _TYPES[code]
    meta = bytes(data[_HEAD.size : _HEAD.size + meta_size])  # pcodec takes no views
    at += sum(lengths[: rows.first])
    values = np.empty(wanted, dtype=kind)
    start = 0
    try:
        file, header_size = wrapped.FileDecompressor.new(meta)
        chunk, _ = file.chunk_decompressor(meta[header_size:], name)
        for page in range(rows.first, rows.last):
            if size := rows.sizes[page]:
                length = lengths[page]
                packed = bytes(data[at : at + length])
                _, read = chunk.read_page_into(packed, size, values[start : start + size])
                if read != length:
                    raise BlockDamagedError(f"{size} numbers end at byte {read} of {length}")
                start += size
                at += length
    except RuntimeError as error:  # what pcodec raises for bytes that it cannot read
        raise BlockDamagedError(f"numbers cannot be unpacked: {error}") from error
    return values
