"""Results of local days, and the days whose results are behind their readings."""

from collections.abc import Iterable
from datetime import date
from itertools import takewhile
from zoneinfo import ZoneInfo

from joulebook.core.spans import date_of
from joulebook.storage.connections import Connection, joined, listed
from joulebook.storage.faults import names_faults
from joulebook.storage.instants import NextReading
from joulebook.storage.marking import REACH_MS, mark, reached_days
from joulebook.storage.reading import readings_span
from joulebook.storage.records import DirtyDay, Site


@names_faults
def dirty_days(
    connection: Connection, limit: int = 100, *, site_id: int | None = None
) -> list[DirtyDay]:
    """Return dirty days of one site or all, the newest first: today's page is looked at most."""
    of_one = "" if site_id is None else "WHERE site_id = ?"
    rows = connection.execute(
        f"""
        SELECT site_id, day, mark
        FROM dirty_days
        {of_one}
        ORDER BY day DESC, site_id
        LIMIT ?
        """,  # noqa: S608 -- one of two texts of ours
        (limit,) if site_id is None else (site_id, limit),
    )
    return [DirtyDay(site_id, date.fromisoformat(day), mark) for site_id, day, mark in rows]


@names_faults
def dirty_count(connection: Connection) -> int:
    """Return how many days are dirty."""
    (count,) = connection.execute("SELECT count(*) FROM dirty_days").fetchone()
    return int(count)


@names_faults
def mark_days(connection: Connection, site_id: int, days: Iterable[date]) -> None:
    """Mark days of a site dirty."""
    with joined(connection, (site_id,)):
        mark(connection, site_id, days)


@names_faults
def mark_span(connection: Connection, site: Site, from_ms: int | None, to_ms: int | None) -> int:
    """Mark the local days dirty that readings of a span reach; return how many those are.

    Days that are final, since their readings were removed, are not among them.

    Parameters
    ----------
    from_ms, to_ms : int or None
        Half-open; ``None`` leaves an end open. [ms, UTC epoch]
    """
    with joined(connection, (site.id,)):
        readings = readings_span(connection, site.id)
        if readings is None:
            return 0
        next_at = NextReading(connection, site.id)
        # It may hand out a reading that is twice the reach late, so it is asked that much before.
        begin_ms = readings.start_ms if from_ms is None else max(from_ms, readings.start_ms)
        end_ms = readings.end_ms if to_ms is None else min(to_ms, readings.end_ms)
        first_ms = next_at(begin_ms - 2 * REACH_MS)
        if first_ms is None or begin_ms >= end_ms:
            return 0
        first = date_of(begin_ms - REACH_MS, site.zone)
        last = date_of(end_ms - 1 + REACH_MS, site.zone)
        reached = takewhile(lambda day: day <= last, reached_days(next_at, first_ms, site.zone))
        (final,) = connection.execute(
            "SELECT min(day) FROM final_before WHERE site_id = ?", (site.id,)
        ).fetchone()
        if final is not None:
            first = max(first, date.fromisoformat(final))
        days = [day for day in reached if day >= first]
        mark(connection, site.id, days)
        return len(days)


@names_faults
def save_day(
    connection: Connection,
    site_id: int,
    day: date,
    method: str,
    result_json: bytes,
    mark: int | None,
    computed_ms: int,
) -> None:
    """Store a day's result and clear its mark, if it is still ``mark``, in one transaction.

    A day that was marked again meanwhile stays dirty. A day that has no mark any more was
    computed by somebody else meanwhile, of readings that may be later ones: theirs stays.
    ``None`` clears no mark, and stores in any case.
    """
    key = (site_id, day.isoformat())
    with joined(connection, (site_id,)):
        connection.execute(
            """
            INSERT INTO day_results (site_id, day, method, result, computed_ms)
            SELECT ?, ?, ?, ?, ?
            WHERE ? IS NULL
                OR EXISTS (SELECT 1 FROM dirty_days WHERE site_id = ? AND day = ?)
            ON CONFLICT (site_id, day) DO UPDATE
            SET method = excluded.method,
                result = excluded.result,
                computed_ms = excluded.computed_ms
            """,
            (*key, method, result_json, computed_ms, mark, *key),
        )
        connection.execute(
            "DELETE FROM dirty_days WHERE site_id = ? AND day = ? AND mark = ?", (*key, mark)
        )


@names_faults
def day_results(
    connection: Connection, site_id: int, first: date | None, last: date | None
) -> list[tuple[date, str, bytes]]:
    """Return (date, method, result) from ``first`` to ``last``, both included, in order."""
    rows = connection.execute(
        """
        SELECT day, method, result
        FROM day_results
        WHERE site_id = ? AND day >= ? AND day <= ?
        ORDER BY day
        """,
        (site_id, (first or date.min).isoformat(), (last or date.max).isoformat()),
    )
    return [(date.fromisoformat(day), method, result) for day, method, result in rows]


@names_faults
def computed_at(connection: Connection, site_id: int, days: Iterable[date]) -> dict[date, int]:
    """Return when the result of each of some days was computed; not those without. [ms, UTC]"""
    names, wanted = listed(connection, [day.isoformat() for day in days])
    rows = connection.execute(
        f"SELECT day, computed_ms FROM day_results WHERE site_id = ? AND day IN {names}",  # noqa: S608 -- a place for values
        (site_id, wanted),
    )
    return {date.fromisoformat(day): computed_ms for day, computed_ms in rows}


@names_faults
def month_stamps(connection: Connection, site_id: int) -> dict[date, tuple[int, int, int]]:
    """Return what stands for the results of each month: it changes whenever one of them does.

    By the month's first day, in order; months without a result are not among them.
    """
    rows = connection.execute(
        """
        SELECT substr(day, 1, 7), count(*), max(computed_ms), sum(computed_ms)
        FROM day_results
        WHERE site_id = ?
        GROUP BY 1
        ORDER BY 1
        """,
        (site_id,),
    )
    return {date.fromisoformat(f"{month}-01"): tuple(stamp) for month, *stamp in rows}


@names_faults
def clear_results(connection: Connection, site_id: int) -> None:
    """Drop a site's results and mark every day dirty that its readings reach."""
    with joined(connection, (site_id,)):
        connection.execute("DELETE FROM day_results WHERE site_id = ?", (site_id,))
        connection.execute("DELETE FROM dirty_days WHERE site_id = ?", (site_id,))

        span = readings_span(connection, site_id)
        if span is not None:
            (timezone,) = connection.execute(
                "SELECT timezone FROM sites WHERE id = ?", (site_id,)
            ).fetchone()
            next_at = NextReading(connection, site_id)
            mark(connection, site_id, reached_days(next_at, span.start_ms, ZoneInfo(timezone)))
