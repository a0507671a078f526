"""Whether two sites hold the same readings: numbers bit for bit, texts and flags as they are."""

import struct
from contextlib import closing
from typing import Any

from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.reading import read_series
from joulebook.storage.records import Site
from joulebook.storage.series import series_of

#: By device, quantity, unit and kind: each instant with its value, a number as its eight bytes.
Held = dict[tuple[str, str, str, str], list[tuple[int, Any]]]

_EVER = Span(0, 4_000_000_000_000)


def held(home: tuple[Database, Site]) -> Held:
    """Return every reading of a site."""
    found: Held = {}
    with closing(home[0].connect()) as connection:
        for one in series_of(connection, home[1].id):
            block, damaged = read_series(connection, [one], _EVER)
            assert damaged == ()
            column = block.columns[one.id]
            there = column.present()
            values = column.values[there].tolist()
            if one.kind != "text":
                values = [struct.pack("<d", value) for value in values]
            found[one.device, one.quantity, one.unit, one.kind] = list(
                zip(block.at_ms[there].tolist(), values, strict=True)
            )
    return found


def same_readings(one: tuple[Database, Site], two: tuple[Database, Site]) -> int:
    """Hold the readings of two sites to be the same; return how many there are."""
    first, second = held(one), held(two)
    assert first == second
    return sum(map(len, first.values()))
