"""How a column of a table of readings is headed, and how texts and flags stand in its cells.

What a file is written with and what it is read back with is one thing, so both are here.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind

#: What stands for a flag.
FLAGS = {"true": True, "false": False}

#: What stands in a header where a column of numbers has its unit.
MARKS: dict[str, ValueKind] = {"flag": "flag", "text": "text"}

# An empty cell is missing, quoted or not: readers of CSV do not tell the two apart. So an empty
# text is one backslash, and a text of backslashes alone has one more than it is long.
_ESCAPE = "\\"


def header_for(device: str, quantity: str, unit: str, kind: ValueKind) -> str:
    """Return a column's header: ``device.quantity [unit]``, or ``[flag]`` or ``[text]``."""
    told = unit if kind == "number" else kind
    return f"{device}.{quantity}" + (f" [{told}]" if told else "")


def text_cell(text: str) -> str:
    """Return the cell of a text, not quoted yet."""
    return text if text.strip(_ESCAPE) else _ESCAPE + text


def text_of(cell: str) -> str | None:
    """Return the text of a cell, ``None`` where it is missing."""
    if not cell:
        return None
    return cell if cell.strip(_ESCAPE) else cell[1:]


def present(column: NDArray[Any]) -> NDArray[np.bool_]:
    """Return which values are there.

    Parameters
    ----------
    column : float array or object array of str, shape (n,)
        Missing is NaN among numbers and flags, ``None`` among texts.
    """
    if column.dtype == np.object_:
        return np.array([value is not None for value in column.tolist()], dtype=np.bool_)
    there: NDArray[np.bool_] = ~np.isnan(column)
    return there


def cells_of(column: NDArray[Any], kind: ValueKind) -> Sequence[str]:
    """Return the cells of a column, not quoted; "" is missing.

    A number is the shortest text that reads back as the same float, so every bit survives.
    """
    values = column.tolist()
    if kind == "text":
        return ["" if value is None else text_cell(value) for value in values]
    if kind == "flag":
        return ["" if value != value else "true" if value else "false" for value in values]
    return ["" if value != value else repr(value) for value in values]
