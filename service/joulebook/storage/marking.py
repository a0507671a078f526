"""Which local days a reading concerns, and the marks that say so."""

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.spans import date_of, local_day

#: How far a reading reaches: no integral bridges a longer gap, so a reading concerns the days
#: of this much before and after it. [ms]
REACH_MS = 300_000


def reached_days(
    next_at: Callable[[int], int | None], first_ms: int, zone: ZoneInfo
) -> Iterator[date]:
    """Yield the local days within ``REACH_MS`` of any reading, in order, each once.

    Goes from day to day and not from reading to reading.

    Parameters
    ----------
    next_at : callable
        Returns the first reading's instant at or after an instant, ``None`` after the last.
    first_ms : int
        The first reading's instant. [ms, UTC epoch]
    """
    day = date_of(first_ms - REACH_MS, zone)
    while True:
        yield day
        end_ms = local_day(day, zone).end_ms
        at_ms = next_at(end_ms - REACH_MS)
        if at_ms is None:
            return
        # The day that begins at end_ms need not be the next date: a zone may skip one. And
        # where midnight comes twice, the label at end_ms may still be the day just done.
        day = max(day + timedelta(days=1), date_of(max(end_ms, at_ms - REACH_MS), zone))


def mark_reached(
    connection: sqlite3.Connection, site_id: int, zone: ZoneInfo, instants: Iterable[int]
) -> None:
    """Mark the days that readings reach, one at least, in the caller's transaction."""
    times = np.unique(np.fromiter(instants, dtype=np.int64))

    def next_at(at_ms: int) -> int | None:
        index = np.searchsorted(times, at_ms)
        return int(times[index]) if index < len(times) else None

    mark(connection, site_id, reached_days(next_at, int(times[0]), zone))


def next_mark(connection: sqlite3.Connection) -> int:
    """Return a number that was never given before, in the caller's transaction."""
    (mark,) = connection.execute(
        "UPDATE markings SET last_mark = last_mark + 1 RETURNING last_mark"
    ).fetchone()
    return int(mark)


def mark_record(connection: sqlite3.Connection, site_id: int) -> int:
    """Mark a site's whole record as changed, in the caller's transaction; return the new mark."""
    new_mark = next_mark(connection)
    connection.execute(
        """
        INSERT INTO record_marks (site_id, mark)
        VALUES (?, ?)
        ON CONFLICT (site_id) DO UPDATE SET mark = excluded.mark
        """,
        (site_id, new_mark),
    )
    return new_mark


def mark(connection: sqlite3.Connection, site_id: int, days: Iterable[date]) -> None:
    """Mark days dirty with a mark that was never given before, in the caller's transaction.

    So a day that is marked again while it is being computed stays dirty, whoever computes it.
    The site's record is of its days, and gets the mark too.
    """
    new_mark = mark_record(connection, site_id)
    connection.executemany(
        """
        INSERT INTO dirty_days (site_id, day, mark)
        VALUES (?, ?, ?)
        ON CONFLICT (site_id, day) DO UPDATE SET mark = excluded.mark
        """,
        [(site_id, day.isoformat(), new_mark) for day in days],
    )
