"""Frozen records of equally long arrays, to plain lists and back."""

from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, get_type_hints

import numpy as np

from joulebook.core.history import Floats, Instants
from joulebook.summaries.numbers import Document

Columns = TypeVar("Columns")

#: A thousandth of a watt-hour, an ampere-hour or an hour is far below what any of them is worth.
_DIGITS = 5


def packed(columns: Any) -> Document:
    """Return a record's arrays as lists, a missing number as null; records inside likewise."""
    return {each.name: _packed(getattr(columns, each.name)) for each in fields(columns)}


def _packed(value: Any) -> Any:
    if is_dataclass(value):
        return packed(value)
    if not isinstance(value, np.ndarray):
        return value
    if value.dtype.kind != "f":
        return value.tolist()
    return [None if each != each else round(each, _DIGITS) for each in value.tolist()]


def unpacked(kind: type[Columns], document: Document) -> Columns:
    """Return the record that `packed` made a document of."""
    hints = get_type_hints(kind)
    return kind(**{name: _unpacked(hints[name], value) for name, value in document.items()})


def _unpacked(kind: Any, value: Any) -> Any:
    if isinstance(kind, type) and is_dataclass(kind):
        return unpacked(kind, value)
    if kind == Instants:
        return np.array(value, dtype=np.int64)
    if kind == Floats:
        return np.array(value, dtype=np.float64)  # null becomes NaN
    if isinstance(value, list):
        return np.array(value, dtype=np.bool_)
    return value
