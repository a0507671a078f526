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

from joulebook.storage.blocks.parts import BlockDamagedError, PartReader, Rows

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
    # Named, not left to choose: on such signals the automatic choice of differences was a
    # sixth worse and half as fast.
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
    pages = [chunk.write_page(number) for number in range(len(chunk.n_per_page()))]
    lengths = struct.pack(f"<{len(pages)}I", *map(len, pages))
    return b"".join((_HEAD.pack(_CODES[values.dtype], len(meta)), meta, lengths, *pages))


def unpack(data: bytes, rows: Rows) -> NDArray[Any]:
    """Return the numbers of the wanted pages, of the type they were packed in.

    Raises
    ------
    BlockDamagedError
        If the bytes are not what packing so many numbers makes.
    """
    chosen = [size for size in rows.sizes[rows.first : rows.last] if size]
    if not chosen:
        return np.empty(0, dtype=np.int64)
    part = PartReader(data)
    code, meta_size = part.fields(_HEAD)
    if code not in _TYPES:
        raise BlockDamagedError(f"numbers of an unknown type {code}")
    kind, name = _TYPES[code]
    meta = part.take(meta_size)
    lengths = part.fields(struct.Struct(f"<{sum(1 for size in rows.sizes if size)}I"))
    before = sum(1 for size in rows.sizes[: rows.first] if size)
    part.take(sum(lengths[:before]))
    values = np.empty(sum(chosen), dtype=kind)
    start = 0
    try:
        file, header_size = wrapped.FileDecompressor.new(meta)
        chunk, _ = file.chunk_decompressor(meta[header_size:], name)
        for size, length in zip(chosen, lengths[before:], strict=False):
            page = values[start : start + size]
            progress, _ = chunk.read_page_into(part.take(length), size, page)
            start += progress.n_processed
    except RuntimeError as error:  # what pcodec raises for bytes that it cannot read
        raise BlockDamagedError(f"numbers cannot be unpacked: {error}") from error
    if start != len(values):
        raise BlockDamagedError(f"{start} numbers where {len(values)} belong")
    return values
