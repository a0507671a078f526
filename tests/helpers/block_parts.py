"""Parts of blocks, also such as no encoder makes, and blocks compared bit for bit."""

import struct

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blocks.pages import pack_integers
from joulebook.storage.blocks.parts import framed

Instants = NDArray[np.int64]


def integers(*values: int) -> bytes:
    """Return whole numbers packed as one page."""
    return pack_integers(np.array(values, dtype=np.int64), [len(values)])


def runs_part(*, breaks: list[int], jumps: list[int]) -> bytes:
    """Return a time axis of runs from 0 on in steps of 10, as the format's page describes it."""
    return (
        b"\x01"
        + struct.pack("<qqI", 0, 10, len(breaks))
        + framed(integers(*breaks))
        + framed(integers(*jumps))
    )


def cut_evenly(rows: int, pages: int) -> tuple[int, ...]:
    """Return the sizes of so many pages at most."""
    sizes = [len(part) for part in np.array_split(np.arange(rows), pages)]
    return tuple(size for size in sizes if size)


def as_bits(column: Column) -> list[object]:
    """Return what tells a column from any other; a missing number is one bit pattern."""
    if column.kind == "text":
        return list(column.values)
    return list(np.where(np.isnan(column.values), np.nan, column.values).view(np.int64))


def assert_same(one: DeviceBlock, other: DeviceBlock) -> None:
    """Compare blocks to the bit."""
    np.testing.assert_array_equal(one.at_ms, other.at_ms, strict=True)
    assert list(one.columns) == list(other.columns)
    for series_id, column in one.columns.items():
        assert column.kind == other.columns[series_id].kind
        assert as_bits(column) == as_bits(other.columns[series_id])
