"""Which local days a reading concerns, and the marks that say so."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.spans import date_of, local_day
from joulebook.storage.connections import Connection, on_server

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
    connection: Connection, reached: Iterable[tuple[int, ZoneInfo, Iterable[int]]]
) -> None:
    """Mark the days that sites' readings reach, in the caller's transaction.

    Parameters
    ----------
    reached : iterable of (int, ZoneInfo, iterable of int)
        A site's id, its zone and the instants, one at least. [ms, UTC epoch]
    """
    _mark(connection, [(site_id, _days(instants, zone)) for site_id, zone, instants in reached])


def _days(instants: Iterable[int], zone: ZoneInfo) -> Iterator[date]:
    times = np.unique(np.fromiter(instants, dtype=np.int64))

    def next_at(at_ms: int) -> int | None:
        index = np.searchsorted(times, at_ms)
        return int(times[index]) if index < len(times) else None

    return reached_days(next_at, int(times[0]), zone)


def next_mark(connection: Connection) -> int:
    """Return a number that was never given before, in the caller's transaction."""
    (mark,) = connection.execute(
        "SELECT nextval('marks')"
        if on_server(connection)
        else "UPDATE markings SET last_mark = last_mark + 1 RETURNING last_mark"
    ).fetchone()
    return int(mark)


def mark_record(connection: Connection, site_id: int) -> int:
    """Mark a site's whole record as changed, in the caller's transaction; return the new mark."""
    return _mark(connection, [(site_id, ())])


def mark(connection: Connection, site_id: int, days: Iterable[date]) -> None:
    """Mark days dirty with a mark that was never given before, in the caller's transaction.

    So a day that is marked again while it is being computed stays dirty, whoever computes it.
    The site's record is of its days, and gets the mark too.
    """
    _mark(connection, [(site_id, days)])


def _mark(connection: Connection, sites: Sequence[tuple[int, Iterable[date]]]) -> int:
    new_mark = next_mark(connection)
    connection.executemany(
        """
        INSERT INTO record_marks (site_id, mark)
        VALUES (?, ?)
        ON CONFLICT (site_id) DO UPDATE SET mark = excluded.mark
        """,
        [(site_id, new_mark) for site_id, _ in sites],
    )
    connection.executemany(
        """
        INSERT INTO dirty_days (site_id, day, mark)
        VALUES (?, ?, ?)
        ON CONFLICT (site_id, day) DO UPDATE SET mark = excluded.mark
        """,
        [(site_id, day.isoformat(), new_mark) for site_id, days in sites for day in days],
    )
    return new_mark
