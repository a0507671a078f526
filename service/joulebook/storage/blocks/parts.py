"""The bytes of a block cut into parts, and the error for bytes that are not what was written."""

import struct
from typing import Any

#: More rows than this are no block: a week at five readings a second is three quarters of it.
MAX_ROWS = 2**22
#: Rows times columns. A block of this many numbers takes half a gigabyte when decoded whole.
MAX_READINGS = 2**26

#: A part of a block is a view into it: its bytes are read where they are, not copied.
Bytes = bytes | memoryview


class BlockDamagedError(ValueError):
    """The bytes are not a block as it was written; which one it is, the caller knows."""


class Rows:
    """How many rows, or values, each page holds, and which pages are wanted: first to before last.

    Pages can be read one by one: a day out of a week's block costs a day.

    Attributes
    ----------
    start, stop : int
        The first wanted row, and the one after the last.
    total : int
        All rows, wanted or not.
    """

    __slots__ = ("first", "last", "sizes", "start", "stop", "total")

    def __init__(self, sizes: tuple[int, ...], first: int, last: int) -> None:
        self.sizes = sizes
        self.first, self.last = first, last
        self.total = sum(sizes)
        self.start = sum(sizes[:first]) if first else 0
        self.stop = sum(sizes[:last]) if last < len(sizes) else self.total

    @classmethod
    def whole(cls, *sizes: int) -> "Rows":
        """Return all pages of these sizes."""
        return cls(sizes, 0, len(sizes))


def framed(data: bytes) -> bytes:
    """Return bytes with their length before them."""
    return struct.pack("<I", len(data)) + data


class PartReader:
    """Takes one field after the other from a part, and never beyond its end."""

    def __init__(self, data: Bytes) -> None:
        self._data = data
        self._at = 0

    def fields(self, form: struct.Struct) -> tuple[Any, ...]:
        """Return the next fields of fixed size."""
        start = self._at
        self._at += form.size
        if self._at > len(self._data):
            raise self._ended()
        return form.unpack_from(self._data, start)  # no bytes in between: a block has many fields

    def take(self, size: int) -> Bytes:
        """Return the next ``size`` bytes."""
        start, self._at = self._at, self._at + size
        if self._at > len(self._data):
            raise self._ended()
        return self._data[start : self._at]

    def _ended(self) -> BlockDamagedError:
        return BlockDamagedError(f"ends at byte {len(self._data)} of {self._at} or more")

    def framed(self) -> Bytes:
        """Return bytes that have their length before them."""
        (size,) = self.fields(_LENGTH)
        return self.take(size)

    def rest(self) -> Bytes:
        """Return what is left."""
        return self.take(len(self._data) - self._at)


_LENGTH = struct.Struct("<I")
