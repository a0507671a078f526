"""Cells of a CSV column to arrays: fast where all of them are plain, one by one where not."""

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.cells import FLAGS, text_of
from joulebook.core.quantities import ValueKind
from joulebook.ingest.instants import instant_of

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
# What a plain number is made of. Python's float() takes more: "nan", "1_000", other scripts.
_PLAIN = b"0123456789+-.eE"
# Bytes that are no UTF-8, as halves of characters.
_NO_UTF_8 = re.compile("[\ud800-\udfff]")


def values_of(cells: Sequence[str], kind: ValueKind) -> tuple[NDArray[Any], list[int]]:
    """Return a column: numbers or flags (1 and 0, NaN missing) or texts, and where bad ones are."""
    if kind == "number":
        return numbers_of(cells)
    return flags_of(cells) if kind == "flag" else texts_of(cells)


def numbers_of(cells: Sequence[str]) -> tuple[NDArray[np.float64], list[int]]:
    """Return the numbers of a column, NaN where a cell is empty or bad, and where bad ones are."""
    if not "".join(cells).encode("utf-8", "replace").translate(None, _PLAIN):
        try:
            numbers = np.array([float(cell) if cell else np.nan for cell in cells])
        except ValueError:
            pass  # "1-2" is made of such letters too
        else:
            if not np.isinf(numbers).any():
                return numbers, []
    bad: list[int] = []
    numbers = np.full(len(cells), np.nan)
    for place, cell in enumerate(cells):
        text = cell.strip()
        if text:
            value = float(text) if _NUMBER.fullmatch(text) else np.inf
            if np.isinf(value):  # too large for a float, or no number
                bad.append(place)
            else:
                numbers[place] = value
    return numbers, bad


def flags_of(cells: Sequence[str]) -> tuple[NDArray[np.float64], list[int]]:
    """Return flags as 1 and 0, NaN where a cell is empty or bad, and where bad ones are.

    A spreadsheet writes them in capitals.
    """
    bad: list[int] = []
    flags = np.full(len(cells), np.nan)
    for place, cell in enumerate(cells):
        word = cell.strip().lower()
        if word in FLAGS:
            flags[place] = FLAGS[word]
        elif word:
            bad.append(place)
    return flags, bad


def texts_of(cells: Sequence[str]) -> tuple[NDArray[np.object_], list[int]]:
    """Return texts, ``None`` where a cell is empty or bad, and where bad ones are."""
    bad = [place for place, cell in enumerate(cells) if _NO_UTF_8.search(cell)]
    texts = np.array([*map(text_of, cells)], dtype=np.object_)
    texts[bad] = None
    return texts, bad


def instants_of(cells: Sequence[str]) -> tuple[NDArray[np.int64], list[int]]:
    """Return the instants of a time column [ms, UTC epoch], 0 where bad, and where bad ones are."""
    bad: list[int] = []
    instants = np.zeros(len(cells), dtype=np.int64)
    for place, cell in enumerate(cells):
        try:
            instants[place] = instant_of(cell.strip())
        except ValueError:
            bad.append(place)
    return instants, bad
