"""A column of a block: its kind, which rows have a value, and those values."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind
from joulebook.storage.blocks.numbers import decode_numbers, encode_numbers
from joulebook.storage.blocks.parts import Bytes, Rows
from joulebook.storage.blocks.texts import decode_texts, encode_texts


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """What a series measured in the rows of a block.

    ``values`` is float64 (n,) for numbers and for flags (0 and 1), NaN where missing; for texts
    it is object (n,) of str, None where missing.
    """

    kind: ValueKind
    values: NDArray[Any]

    def present(self) -> NDArray[np.bool_]:
        """Return which rows have a value."""
        if self.kind == "text":
            return np.array([text is not None for text in self.values.tolist()], dtype=np.bool_)
        present: NDArray[np.bool_] = ~np.isnan(self.values)
        return present


def encode_column(column: Column, present: NDArray[np.bool_] | None, rows: Rows) -> bytes:
    """Return the values that are present (None: all) as bytes."""
    values = column.values if present is None else column.values[present]
    sizes = present_rows(present, rows).sizes
    return encode_texts(values, sizes) if column.kind == "text" else encode_numbers(values, sizes)


def decode_column(
    data: Bytes, kind: ValueKind, present: NDArray[np.bool_] | None, rows: Rows
) -> Column:
    """Return a column of the wanted rows."""
    there = rows if present is None else present_rows(present, rows)
    decode = decode_texts if kind == "text" else decode_numbers
    values: NDArray[Any] = decode(data, there)
    if present is None:
        return Column(kind, values)
    whole = (
        np.full(rows.stop - rows.start, None, dtype=np.object_)
        if kind == "text"
        else np.full(rows.stop - rows.start, np.nan)
    )
    whole[present[rows.start : rows.stop]] = values
    return Column(kind, whole)


def present_rows(present: NDArray[np.bool_] | None, rows: Rows) -> Rows:
    """Return the pages' sizes with only the values that are present counted."""
    if present is None:
        return rows
    starts = np.cumsum((0, *rows.sizes[:-1]))
    counts = np.add.reduceat(present, starts, dtype=np.int64)
    return Rows(tuple(counts.tolist()), rows.first, rows.last)
