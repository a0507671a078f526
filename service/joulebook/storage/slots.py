"""Where a hot row holds a series: a column of its own in a file, an array's element on a server.

A server's table does not grow columns: it would be locked for that, by ten thousand homes.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from joulebook.storage.connections import Connection, on_server
from joulebook.storage.records import Series


def make_place(connection: Connection, slot: int) -> None:
    """Make the column of a slot where it is missing, in the caller's transaction."""
    if on_server(connection):
        return
    there = connection.execute(
        "SELECT 1 FROM pragma_table_info('readings') WHERE name = ?", (f"v{slot}",)
    ).fetchone()
    if there is None:
        connection.execute(f"ALTER TABLE readings ADD COLUMN v{slot}")


def places_of(connection: Connection, series: Iterable[Series]) -> tuple[str, ...]:
    """Return what a statement calls the places of series: made of integers of ours."""
    if on_server(connection):
        return tuple(
            f"{'texts' if one.kind == 'text' else 'numbers'}[{one.slot + 1}]" for one in series
        )
    return tuple(f"v{one.slot}" for one in series)


def texts_among(series: Sequence[Series]) -> tuple[int, ...]:
    """Return at which positions of a server's row, after the instant, texts stand."""
    return tuple(place for place, one in enumerate(series, start=1) if one.kind == "text")


def read_texts(row: Sequence[Any], texts: tuple[int, ...]) -> list[Any]:
    """Return a server's row with its texts as text."""
    read = list(row)
    for place in texts:
        text = row[place]
        read[place] = None if text is None else text.decode()
    return read
