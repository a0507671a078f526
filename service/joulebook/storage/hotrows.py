"""Rows that are not sealed yet: out of ``readings`` as arrays, and which days still have some."""

from collections.abc import Iterable, Sequence
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.blocks.columns import Column
from joulebook.storage.connections import Connection, ServerConnection, on_server
from joulebook.storage.marking import next_mark
from joulebook.storage.overlays import nothing
from joulebook.storage.periods import DAY_MS
from joulebook.storage.records import Series
from joulebook.storage.slots import places_of

# What a value becomes in an array; NULL becomes NaN there, and None among texts.
_FORMS: dict[ValueKind, str] = {"number": "f8", "flag": "f8", "text": "O"}

#: So much is packed into one value: of a device that reports each second 300 kB. [ms]
_HOUR_MS = 3_600_000

#: A day of a device that has hot rows: (day since 1970, mark of the last write to it).
HotDay = tuple[int, int]


def read_hot(
    connection: Connection, device_id: int, span: Span, series: Sequence[Series]
) -> DeviceBlock:
    """Return a device's hot rows in a span, with all of the given series (one at least)."""
    if on_server(connection) and all(one.kind != "text" for one in series):
        return _read_packed(connection, device_id, span, series)
    names = ", ".join(places_of(connection, series))
    cursor = connection.execute(
        f"""
        SELECT at_ms, {names}
        FROM readings
        WHERE device_id = ? AND at_ms >= ? AND at_ms < ?
        ORDER BY at_ms
        """,  # noqa: S608 -- names of columns, made of integers of ours
        (device_id, span.start_ms, span.end_ms),
    )
    first = cursor.fetchone()
    if first is None:  # as a rule: old days are sealed
        return nothing({one.id: one.kind for one in series})
    # Straight from the cursor into an array: no list of rows, which would be six times as big.
    form = [("at_ms", "i8"), *((f"v{one.slot}", _FORMS[one.kind]) for one in series)]
    rows = np.fromiter(chain((first,), cursor), dtype=form)
    return DeviceBlock(
        np.ascontiguousarray(rows["at_ms"]),
        {one.id: Column(one.kind, _values(rows[f"v{one.slot}"], one)) for one in series},
    )


def _read_packed(
    connection: ServerConnection, device_id: int, span: Span, series: Sequence[Series]
) -> DeviceBlock:
    """Return hot rows of numbers and flags, which a server packs an hour at a time.

    A row of Python's own numbers costs its driver far more than all that is computed of it. What
    is packed are the bytes that the server keeps (IEEE 754, big end first): they stay exact.
    """
    places = "".join(
        f" || float8send(coalesce({place}, 'NaN'))" for place in places_of(connection, series)
    )
    hours = connection.execute(
        f"""
        SELECT string_agg(int8send(at_ms){places}, ''::bytea ORDER BY at_ms)
        FROM readings
        WHERE device_id = ? AND at_ms >= ? AND at_ms < ?
        GROUP BY at_ms / {_HOUR_MS}
        ORDER BY at_ms / {_HOUR_MS}
        """,  # noqa: S608 -- names of columns, made of integers of ours
        (device_id, span.start_ms, span.end_ms),
    )
    form = [("at_ms", ">i8"), *((f"v{one.slot}", ">f8") for one in series)]
    rows = np.frombuffer(b"".join(packed for (packed,) in hours), dtype=form)
    return DeviceBlock(
        rows["at_ms"].astype(np.int64),
        {one.id: Column(one.kind, rows[f"v{one.slot}"].astype(np.float64)) for one in series},
    )


def _values(held: NDArray[Any], series: Series) -> NDArray[Any]:
    if series.kind != "text":
        return np.ascontiguousarray(held)
    # A server's rows hold bytes.
    texts = [one.decode() if isinstance(one, bytes) else one for one in held]
    return np.array(texts, dtype=object)


def count_hot(connection: Connection, device_id: int, span: Span) -> int:
    """Return how many hot rows a device has in a span."""
    (count,) = connection.execute(
        "SELECT count(*) FROM readings WHERE device_id = ? AND at_ms >= ? AND at_ms < ?",
        (device_id, span.start_ms, span.end_ms),
    ).fetchone()
    return int(count)


def delete_hot(connection: Connection, device_id: int, span: Span) -> None:
    """Delete a device's hot rows in a span, in the caller's transaction."""
    connection.execute(
        "DELETE FROM readings WHERE device_id = ? AND at_ms >= ? AND at_ms < ?",
        (device_id, span.start_ms, span.end_ms),
    )


def note_hot(connection: Connection, device_days: Iterable[tuple[int, int]]) -> None:
    """Note that rows of (device, day) were written, in the caller's transaction.

    The mark is a new one: whoever is sealing such a day sees that it changed meanwhile.
    """
    mark = next_mark(connection)
    connection.executemany(
        """
        INSERT INTO hot_days (device_id, day, mark)
        VALUES (?, ?, ?)
        ON CONFLICT (device_id, day) DO UPDATE SET mark = excluded.mark
        """,
        [(device_id, day, mark) for device_id, day in device_days],
    )


def hot_days(connection: Connection, device_id: int, period: Span) -> list[HotDay]:
    """Return the days of a period that have hot rows, with their marks, in order."""
    return connection.execute(
        "SELECT day, mark FROM hot_days WHERE device_id = ? AND day >= ? AND day < ? ORDER BY day",
        (device_id, period.start_ms // DAY_MS, period.end_ms // DAY_MS),
    ).fetchall()


def forget_hot(connection: Connection, device_id: int, period: Span) -> None:
    """Note that a period has no hot rows any more, in the caller's transaction."""
    connection.execute(
        "DELETE FROM hot_days WHERE device_id = ? AND day >= ? AND day < ?",
        (device_id, period.start_ms // DAY_MS, period.end_ms // DAY_MS),
    )


def unsealed_days(connection: Connection, before_day: int) -> list[tuple[int, int]]:
    """Return the (device, day) that have hot rows and are before a day, the oldest first."""
    return connection.execute(
        "SELECT device_id, day FROM hot_days WHERE day < ? ORDER BY day, device_id", (before_day,)
    ).fetchall()
