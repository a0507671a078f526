"""A block: the readings of a device over a while, sealed into bytes (docs/database-blocks.md)."""

import struct
import zlib
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import accumulate
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.core.stepped import Stepped
from joulebook.storage.blocks.axis import decode_axis, decode_clock, encode_axis
from joulebook.storage.blocks.columns import Column, decode_column, encode_column
from joulebook.storage.blocks.numbers import decode_whole
from joulebook.storage.blocks.parts import MAX_READINGS, MAX_ROWS, BlockDamagedError, Rows
from joulebook.storage.blocks.presence import decode_presence, encode_presence

#: The version of the format that `encode_block` writes.
BLOCK_FORMAT = 1

_MAGIC = b"jblk"
_HEAD = struct.Struct("<4sHHIHH")  # magic, format, pages, rows, masks, columns
_PAGE = struct.Struct("<qI")  # first instant, rows
_PART = struct.Struct("<II")  # length, CRC-32
_COLUMN = struct.Struct("<qBHII")  # series, kind, mask (0: every row), length, CRC-32
_CRC = struct.Struct("<I")
_KINDS: dict[ValueKind, int] = {"number": 1, "text": 2, "flag": 3}
_KIND_OF = {code: kind for kind, code in _KINDS.items()}
_DAY_MS = 86_400_000
#: Pages smaller than this would cost more bytes than they save time.
_SMALL_PAGE = 1024
#: What is read of a block before it is known how long its head is: most are shorter. [bytes]
_USUAL_HEAD = 1024
#: Far beyond any real clock (the year 144 683), and exact in every form of the axis.
_MOST_MS = 2**52


@dataclass(frozen=True, slots=True, eq=False)
class DeviceBlock:
    """Readings of one device: instants int64 (n,), strictly increasing, and columns of n values.

    ``columns`` is keyed by the id of the series.
    """

    at_ms: NDArray[np.int64]
    columns: dict[int, Column]


def checksum(data: bytes) -> int:
    """Return the CRC-32 of a whole block, to be kept beside it.

    The parts of a block carry their own, so that reading a few need not touch the rest; this
    one tells whether the bytes are those that were written without knowing their format.
    """
    return zlib.crc32(data)


def encode_block(block: DeviceBlock) -> bytes:
    """Seal readings into bytes.

    Raises
    ------
    ValueError
        If there are no rows, more than `MAX_ROWS` or `MAX_READINGS`, the instants do not
        strictly increase, or a column has another length.
    """
    _check(block)
    sizes = _page_sizes(block.at_ms)
    rows = Rows.whole(*sizes)
    masks: dict[bytes, int] = {}
    mask_parts: list[bytes] = []
    columns: list[tuple[int, int, int, bytes]] = []
    for series_id, column in block.columns.items():
        present, number = column.present(), 0
        if not present.all():
            # Quantities that come in one message are missing together: they share their mask.
            number = masks.setdefault(present.tobytes(), len(masks) + 1)
            if number > len(mask_parts):
                mask_parts.append(encode_presence(present))
        part = encode_column(column, present if number else None, rows)
        columns.append((series_id, _KINDS[column.kind], number, part))
    axis = encode_axis(block.at_ms, sizes)
    firsts = block.at_ms[np.cumsum((0, *sizes[:-1]))].tolist()
    head = b"".join(
        (
            _HEAD.pack(
                _MAGIC, BLOCK_FORMAT, len(sizes), len(block.at_ms), len(mask_parts), len(columns)
            ),
            *(_PAGE.pack(first, size) for first, size in zip(firsts, sizes, strict=True)),
            *(_PART.pack(len(part), zlib.crc32(part)) for part in (axis, *mask_parts)),
            *(
                _COLUMN.pack(series_id, kind, number, len(part), zlib.crc32(part))
                for series_id, kind, number, part in columns
            ),
        )
    )
    parts = (axis, *mask_parts, *(part for *_, part in columns))
    return b"".join((head, _CRC.pack(zlib.crc32(head)), *parts))


def _check(block: DeviceBlock) -> None:
    at_ms = block.at_ms
    if not 0 < len(at_ms) <= MAX_ROWS:
        raise ValueError(f"a block has 1 to {MAX_ROWS} rows, not {len(at_ms)}")
    if len(at_ms) * len(block.columns) > MAX_READINGS:
        raise ValueError(f"a block has at most {MAX_READINGS} rows times columns")
    rises = (at_ms[1:] > at_ms[:-1]).all()
    if not rises or at_ms[0] < -_MOST_MS or at_ms[-1] > _MOST_MS:
        raise ValueError("the instants of a block do not strictly increase, or are no instants")
    for series_id, column in block.columns.items():
        if column.values.shape != at_ms.shape:
            raise ValueError(
                f"series {series_id}: {column.values.shape} values, {at_ms.shape} rows"
            )


def _page_sizes(at_ms: NDArray[np.int64]) -> tuple[int, ...]:
    """Return how many rows each page has: a UTC day, or more of them while they are few."""
    days = at_ms // _DAY_MS
    if days[0] == days[-1]:
        return (len(at_ms),)
    edges = [0]
    for edge in (np.flatnonzero(days[1:] != days[:-1]) + 1).tolist():
        if edge - edges[-1] >= _SMALL_PAGE:
            edges.append(edge)
    return tuple(np.diff(edges, append=len(at_ms)).tolist())


def decode_block(
    data: bytes, series_ids: Iterable[int] | None = None, span: Span | None = None
) -> DeviceBlock:
    """Read a block, or a part of it; only what is asked for is decoded and checked.

    Parameters
    ----------
    series_ids : iterable of int, optional
        Which columns; all by default. One that the block does not hold is not in the result.
    span : Span, optional
        Which rows; all by default. A block of several days decodes only the days it touches.

    Raises
    ------
    BlockDamagedError
        If the head or a part that was asked for is not as it was written, or bytes are missing
        or too many.
    """
    head = _Head(data)
    rows = head.rows_of(span)
    at_ms = decode_axis(head.part(0), rows)
    wanted = None if series_ids is None else set(series_ids)
    masks: dict[int, NDArray[np.bool_]] = {}
    columns: dict[int, Column] = {}
    for position, series_id in enumerate(head.series):
        if wanted is not None and series_id not in wanted:
            continue
        kind, number = _KIND_OF[head.kinds[position]], head.masks[position]
        if number and number not in masks:
            masks[number] = decode_presence(head.part(number), rows.total)
        data_of = head.column(position)
        columns[series_id] = decode_column(data_of, kind, masks.get(number), rows)
    if span is None:
        return DeviceBlock(at_ms, columns)
    if span.start_ms <= at_ms[0] and at_ms[-1] < span.end_ms:
        return DeviceBlock(at_ms, columns)  # as a rule: a day out of a week is a page
    first, last = at_ms.searchsorted((span.start_ms, span.end_ms))
    return DeviceBlock(
        at_ms[first:last],
        {
            series_id: Column(column.kind, column.values[first:last])
            for series_id, column in columns.items()
        },
    )


class Source(Protocol):
    """Where the bytes of a block are: bytes, or what reads only those that are asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> bytes: ...


def decode_stepped(data: Source, series_id: int) -> Stepped | None:
    """Read a series of numbers of a block as it is kept; `decode_block` tells what is raised.

    ``None`` where the block does not hold it in this form: not for every row, or not at all.
    """
    head = _Head(data)
    rows = head.rows_of(None)
    if series_id not in head.series:
        return None
    position = head.series.index(series_id)
    if head.masks[position] or _KIND_OF[head.kinds[position]] == "text":
        return None
    numbers = decode_whole(head.column(position), rows)
    clock = decode_clock(head.part(0), rows)
    return Stepped(clock, numbers.whole, float(numbers.step), 10.0**numbers.places)


class _Head:
    """The head of a block, checked, and its parts: 0 the axis, then masks, then columns.

    ``series``, ``kinds`` and ``masks`` (0: every row) tell of each column.
    """

    def __init__(self, data: Source) -> None:
        self._length = len(data)
        # Of bytes a part is a view; of anything else it is what is read.
        self._data = memoryview(data) if isinstance(data, bytes) else data
        try:
            self._read(data)
        except struct.error as error:
            raise BlockDamagedError(f"the head of the block: {error}") from error

    def _read(self, source: Source) -> None:
        data = source[:_USUAL_HEAD]
        magic, version, page_count, self._rows, self._mask_count, column_count = _HEAD.unpack_from(
            data
        )
        if magic != _MAGIC or version != BLOCK_FORMAT:
            raise BlockDamagedError(f"no block of format {BLOCK_FORMAT}: {data[:6]!r}")
        parts_at = _HEAD.size + page_count * _PAGE.size
        columns_at = parts_at + (1 + self._mask_count) * _PART.size
        end = columns_at + column_count * _COLUMN.size
        if end + _CRC.size > len(data):
            data = source[: end + _CRC.size]
        (crc,) = _CRC.unpack_from(data, end)
        if crc != zlib.crc32(data[:end]):
            raise BlockDamagedError("the head of the block is not as it was written")
        # All fields of a kind at once: one by one would take longer than a page's numbers.
        pages = struct.unpack_from("<" + "qI" * page_count, data, _HEAD.size)
        parts = struct.unpack_from("<" + "II" * (1 + self._mask_count), data, parts_at)
        columns = struct.unpack_from("<" + "qBHII" * column_count, data, columns_at)
        self._firsts, self._sizes = pages[0::2], pages[1::2]
        self.series, self.kinds, self.masks = columns[0::5], columns[1::5], columns[2::5]
        self._crcs = parts[1::2] + columns[4::5]
        lengths = parts[0::2] + columns[3::5]
        self._offsets = list(accumulate(lengths, initial=end + _CRC.size))
        self._check_counts()

    def _check_counts(self) -> None:
        """Raise unless what the head counts can be: before anything of that size is made."""
        possible = (
            0 < self._rows <= MAX_ROWS
            and self._rows * len(self.series) <= MAX_READINGS
            and all(self._sizes)
            and sum(self._sizes) == self._rows
            and list(self._firsts) == sorted(self._firsts)
            and max(self.masks, default=0) <= self._mask_count
            and _KIND_OF.keys() >= set(self.kinds)
        )
        if not possible:
            raise BlockDamagedError("the head of the block counts what cannot be")
        if self._offsets[-1] != self._length:
            raise BlockDamagedError(f"{self._length} bytes, where {self._offsets[-1]} belong")

    def rows_of(self, span: Span | None) -> Rows:
        """Return the pages that a span touches, at least one."""
        if span is None:
            return Rows.whole(*self._sizes)
        # Pages part at midnight: the one before has nothing of the day that this one begins in.
        midnights = [first // _DAY_MS * _DAY_MS for first in self._firsts]
        first = max(0, bisect_right(midnights, span.start_ms) - 1)
        return Rows(self._sizes, first, max(first + 1, bisect_left(self._firsts, span.end_ms)))

    def column(self, position: int) -> memoryview:
        """Return the part that is a column, by its place among the columns."""
        return self.part(1 + self._mask_count + position)

    def part(self, position: int) -> memoryview:
        """Return a part, to be read where it lies."""
        part = memoryview(self._data[self._offsets[position] : self._offsets[position + 1]])
        if self._crcs[position] != zlib.crc32(part):
            raise BlockDamagedError(f"part {position} of the block is not as it was written")
        return part
