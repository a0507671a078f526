"""Readings that are older than their owner wants to keep them, removed once all is computed.

What was computed of them stays and becomes final: from then on the database itself refuses every
change of it (the triggers of migration 0004).
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import takewhile

from joulebook.core.spans import date_of, local_day
from joulebook.storage.connections import Connection, joined_snapshot, transaction
from joulebook.storage.days import day_results
from joulebook.storage.faults import names_faults
from joulebook.storage.instants import NextReading
from joulebook.storage.marking import reached_days
from joulebook.storage.periods import DAY_MS, utc_date
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site


@dataclass(frozen=True, slots=True)
class Removed:
    """What was removed of a site.

    Attributes
    ----------
    rows : int
        One device at one instant each, hot and sealed.
    final_before : date or None
        The first local day whose result may still change; ``None`` where all may.
    waits_for : str or None
        What has to be computed before more can be removed.
    """

    rows: int
    final_before: date | None
    waits_for: str | None = None


@names_faults
def remove_old(connection: Connection, site: Site, *, now_ms: int, keep_years: int) -> Removed:
    """Remove a site's readings that are older than some years, up to a month and a week more.

    Nothing is removed while the result of any such day, or a quarter hour of it, is missing or
    behind its readings. May be ended at any moment; the next run goes on.

    Parameters
    ----------
    now_ms : int
        Now. Years count back from the newest reading where that is older: a clock that ran far
        ahead would otherwise cost everything. [ms, UTC epoch]
    keep_years : int
        1 or more.

    Raises
    ------
    StorageUnavailableError
        If the file cannot be written.
    """
    if keep_years < 1:
        raise ValueError(f"keep_years is {keep_years}; nothing is removed below 1")
    span = readings_span(connection, site.id)
    if span is None:
        return Removed(0, _final_before(connection, site.id))
    final_ms = _month_before(min(now_ms, span.end_ms), keep_years)
    waits_for = None
    if span.start_ms < final_ms - DAY_MS:
        waits_for = _finalise(connection, site, final_ms)
    row = connection.execute(
        "SELECT start_ms FROM final_before WHERE site_id = ?", (site.id,)
    ).fetchone()
    rows = 0
    if row is not None:
        # A day more than what is final stays: the first days after it are computed with it.
        for (device_id,) in connection.execute(
            "SELECT id FROM devices WHERE site_id = ?", (site.id,)
        ).fetchall():
            rows += _remove(connection, site, device_id, min(row[0], final_ms) - DAY_MS)
    return Removed(rows, _final_before(connection, site.id), waits_for)


def _month_before(at_ms: int, years: int) -> int:
    """Return the beginning of the month of UTC in which an instant fell some years earlier."""
    at = datetime.fromtimestamp(at_ms / 1000, tz=UTC)
    return round(datetime(at.year - years, at.month, 1, tzinfo=UTC).timestamp()) * 1000


def _finalise(connection: Connection, site: Site, final_ms: int) -> str | None:
    """Make all before an instant final, or return what is still to be computed."""
    day = date_of(final_ms, site.zone)
    if local_day(day, site.zone).start_ms < final_ms:
        day += timedelta(days=1)
    with joined_snapshot(connection):
        waits_for = _to_compute(connection, site, day, final_ms)
    if waits_for is not None:
        return waits_for
    with transaction(connection, (site.id,)):
        # Once more, under the write lock: a late reading may have come meanwhile.
        waits_for = _behind(connection, site.id, day, final_ms)
        if waits_for is None:
            connection.execute(
                """
                INSERT INTO final_before (site_id, day, start_ms)
                VALUES (?, ?, ?)
                ON CONFLICT (site_id) DO UPDATE
                SET day = excluded.day, start_ms = excluded.start_ms
                WHERE excluded.start_ms > final_before.start_ms
                """,
                (site.id, day.isoformat(), final_ms),
            )
    return waits_for


def _to_compute(connection: Connection, site: Site, day: date, final_ms: int) -> str | None:
    """Return what is to be computed before a day, by the readings and not only by the marks."""
    behind = _behind(connection, site.id, day, final_ms)
    span = readings_span(connection, site.id)
    if behind is not None or span is None:
        return behind
    there = {one for one, _, _ in day_results(connection, site.id, None, day)}
    next_at = NextReading(connection, site.id)
    reached = reached_days(next_at, span.start_ms, site.zone)
    missing = next(
        (one for one in takewhile(lambda one: one < day, reached) if one not in there), None
    )
    return None if missing is None else f"the result of {missing}"


def _behind(connection: Connection, site_id: int, day: date, final_ms: int) -> str | None:
    """Return what the marks say is to be computed before a day."""
    (dirty,) = connection.execute(
        "SELECT min(day) FROM dirty_days WHERE site_id = ? AND day < ?", (site_id, day.isoformat())
    ).fetchone()
    if dirty is not None:
        return f"the result of {dirty}"
    (dirty,) = connection.execute(
        """
        SELECT min(day)
        FROM dirty_quarters
        JOIN devices ON devices.id = device_id
        WHERE site_id = ? AND day < ?
        """,
        (site_id, final_ms // DAY_MS),
    ).fetchone()
    if dirty is not None:
        return f"the quarter hours of {utc_date(dirty)} (UTC)"
    return None


def _final_before(connection: Connection, site_id: int) -> date | None:
    row = connection.execute(
        "SELECT day FROM final_before WHERE site_id = ?", (site_id,)
    ).fetchone()
    return None if row is None else date.fromisoformat(row[0])


def _remove(connection: Connection, site: Site, device_id: int, before_ms: int) -> int:
    """Remove a device's whole blocks and hot rows before an instant; return how many rows."""
    with transaction(connection, (site.id,)):
        (sealed,) = connection.execute(
            "SELECT coalesce(sum(rows), 0) FROM blocks WHERE device_id = ? AND end_ms <= ?",
            (device_id, before_ms),
        ).fetchone()
        connection.execute(
            "DELETE FROM blocks WHERE device_id = ? AND end_ms <= ?", (device_id, before_ms)
        )
        # Hot rows over a block that stays correct it: they stay with it.
        (first_ms,) = connection.execute(
            "SELECT min(start_ms) FROM blocks WHERE device_id = ?", (device_id,)
        ).fetchone()
        before_ms = before_ms if first_ms is None else min(before_ms, first_ms)
        hot = connection.execute(
            "DELETE FROM readings WHERE device_id = ? AND at_ms < ?", (device_id, before_ms)
        ).rowcount
        connection.execute(
            "DELETE FROM hot_days WHERE device_id = ? AND day < ?", (device_id, before_ms // DAY_MS)
        )
    return int(sealed) + hot
