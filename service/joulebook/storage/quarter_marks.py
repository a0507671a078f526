"""Which days of a device have quarter hours that are behind its readings: dirty UTC days."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import REACH_MS, next_mark
from joulebook.storage.periods import DAY_MS, day_of

#: More than the UTC days of any device, since 1970.
ALL_DAYS = 10_000_000


@dataclass(frozen=True, slots=True)
class DirtyQuarters:
    """A UTC day of a device whose quarter hours are behind; ``mark`` tells one marking apart."""

    site_id: int
    device_id: int
    device: str
    day: int  # since 1970-01-01
    mark: int


def days_reached(times: Sequence[int]) -> Iterator[int]:
    """Yield the UTC days within ``REACH_MS`` of instants that are in order; some come twice."""
    place = 0
    while place < len(times):
        first_ms = times[place]
        place = bisect_left(times, (day_of(first_ms) + 1) * DAY_MS, place)
        yield from range(day_of(first_ms - REACH_MS), day_of(times[place - 1] + REACH_MS) + 1)


def mark_quarters(connection: Connection, device_days: Iterable[tuple[int, int]]) -> None:
    """Mark (device, day) dirty with a mark that was never given before, in a transaction."""
    mark = next_mark(connection)
    connection.executemany(
        """
        INSERT INTO dirty_quarters (device_id, day, mark)
        VALUES (?, ?, ?)
        ON CONFLICT (device_id, day) DO UPDATE SET mark = excluded.mark
        """,
        [(device_id, day, mark) for device_id, day in device_days],
    )


@names_faults
def dirty_quarters(
    connection: Connection, *, before_day: int = ALL_DAYS, site_id: int | None = None
) -> list[DirtyQuarters]:
    """Return the dirty days before a day, of one site or of all, by device and day."""
    rows = connection.execute(
        """
        SELECT site_id, device_id, name, day, mark
        FROM dirty_quarters
        JOIN devices ON devices.id = device_id
        WHERE day < ? AND (? IS NULL OR site_id = ?)
        ORDER BY device_id, day
        """,
        (before_day, site_id, site_id),
    )
    return [DirtyQuarters(*row) for row in rows]


def dirty_days_of(
    connection: Connection, device_id: int, first_day: int, end_day: int
) -> list[int]:
    """Return the dirty days of a device from the first one up to, not including, the last."""
    rows = connection.execute(
        "SELECT day FROM dirty_quarters WHERE device_id = ? AND day >= ? AND day < ? ORDER BY day",
        (device_id, first_day, end_day),
    )
    return [day for (day,) in rows]


@names_faults
def clear_quarters(connection: Connection, site_id: int) -> None:
    """Drop a site's quarter hours and mark all days that may have readings."""
    of_site = "(SELECT id FROM devices WHERE site_id = ?)"
    with joined(connection, (site_id,)):
        connection.execute(f"DELETE FROM quarters WHERE device_id IN {of_site}", (site_id,))  # noqa: S608
        connection.execute(f"DELETE FROM dirty_quarters WHERE device_id IN {of_site}", (site_id,))  # noqa: S608
        days = set(
            connection.execute(
                f"SELECT device_id, day FROM hot_days WHERE device_id IN {of_site}",  # noqa: S608
                (site_id,),
            )
        )
        blocks = connection.execute(
            f"SELECT device_id, first_ms, last_ms FROM blocks WHERE device_id IN {of_site}",  # noqa: S608
            (site_id,),
        )
        for device_id, first_ms, last_ms in blocks:
            days.update((device_id, day) for day in range(day_of(first_ms), day_of(last_ms) + 1))
        mark_quarters(connection, days)


@names_faults
def mark_outdated_quarters(connection: Connection, method: str) -> None:
    """Mark the days whose quarter hours another version of the method made."""
    # The month of a row is at most 31 days; days without readings cost next to nothing.
    with joined(connection):
        rows = connection.execute(
            "SELECT device_id, start_ms FROM quarters WHERE method != ?", (method,)
        ).fetchall()
        if rows:
            mark_quarters(
                connection,
                {
                    (device_id, day_of(start_ms) + offset)
                    for device_id, start_ms in rows
                    for offset in range(31)
                },
            )
