"""Cells of a CSV column to arrays: fast where all of them are plain, one by one where not."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joulebook.ingest.instants import instant_of

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
# What a plain number is made of. Python's float() takes more: "nan", "1_000", other scripts.
_PLAIN = b"0123456789+-.eE"


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
