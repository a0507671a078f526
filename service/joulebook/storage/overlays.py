"""Readings of one device laid one behind the other, or one over the other. Arrays only."""

from collections.abc import Mapping, Sequence

import numpy as np

from joulebook.core.quantities import ValueKind
from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.blocks.columns import Column

#: Kinds of the wanted series by their ids.
Kinds = Mapping[int, ValueKind]


def nothing(kinds: Kinds) -> DeviceBlock:
    """Return no readings of the given series."""
    numbers, texts = np.empty(0), np.empty(0, dtype=np.object_)
    return DeviceBlock(
        np.empty(0, dtype=np.int64),
        {
            series: Column(kind, texts if kind == "text" else numbers)
            for series, kind in kinds.items()
        },
    )


def in_line(parts: Sequence[DeviceBlock], kinds: Kinds) -> DeviceBlock:
    """Lay parts that follow one another in time one behind the other.

    The result has exactly the given series; where a part lacks one, it is missing.
    """
    if len(parts) == 1 and parts[0].columns.keys() == kinds.keys():  # as a rule: of one block
        return parts[0]
    if not parts:
        return nothing(kinds)
    columns = {}
    for series, kind in kinds.items():
        pieces = [part.columns.get(series) or _absent(kind, len(part.at_ms)) for part in parts]
        columns[series] = Column(kind, np.concatenate([piece.values for piece in pieces]))
    return DeviceBlock(np.concatenate([part.at_ms for part in parts]), columns)


def overlaid(below: DeviceBlock, above: DeviceBlock, kinds: Kinds) -> DeviceBlock:
    """Lay readings over others: where both have a value, the one above counts.

    Parameters
    ----------
    below, above : DeviceBlock
        Each with all of the given series.
    """
    if not len(above.at_ms):
        return below
    if not len(below.at_ms) or below.at_ms[-1] < above.at_ms[0]:
        return in_line([part for part in (below, above) if len(part.at_ms)], kinds)
    place = np.searchsorted(below.at_ms, above.at_ms)
    last = len(below.at_ms) - 1
    fresh = below.at_ms[np.minimum(place, last)] != above.at_ms
    at_ms = np.insert(below.at_ms, place[fresh], above.at_ms[fresh])
    rows = np.searchsorted(at_ms, above.at_ms)
    columns = {}
    for series, kind in kinds.items():
        gaps = _absent(kind, len(place[fresh])).values
        values = np.insert(below.columns[series].values, place[fresh], gaps)
        column = above.columns[series]
        present = column.present()
        values[rows[present]] = column.values[present]
        columns[series] = Column(kind, values)
    return DeviceBlock(at_ms, columns)


def _absent(kind: ValueKind, rows: int) -> Column:
    if kind == "text":
        return Column(kind, np.full(rows, None, dtype=np.object_))
    return Column(kind, np.full(rows, np.nan))
