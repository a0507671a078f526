"""Quarter hours that were computed into the database, a month of a device at a time."""

from collections.abc import Mapping

from joulebook.core.daily.quarters import Quarters
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.periods import DAY_MS, day_of, day_period
from joulebook.storage.quarter_marks import dirty_days_of, mark_quarters
from joulebook.storage.quarter_months import month_of, no_quarters, put
from joulebook.storage.quarter_rows import is_outdated, series_ids, store_month, stored_month


@names_faults
def save_quarters(
    connection: Connection,
    site_id: int,
    device: str,
    computed: Mapping[int, Mapping[str, Quarters]],
    marks: Mapping[int, int],
) -> None:
    """Store the quarter hours of days and clear their marks, in one transaction.

    A day that was marked again meanwhile stays dirty. One that has no mark any more was computed
    by somebody else meanwhile, of readings that may be later ones: theirs stays.

    Parameters
    ----------
    computed : mapping of day to Quarters by quantity
        UTC days since 1970; what `fresh_quarters` returned.
    marks : mapping of day to mark
        The marks that the days had before they were computed.
    """
    with joined(connection, (site_id,)):
        series = series_ids(connection, site_id, device, None)
        (device_id,) = {device_id for device_id, _ in series.values()}
        if computed:
            dirty = dirty_days_of(connection, device_id, min(computed), max(computed) + 1)
            computed = {day: computed[day] for day in dirty if day in computed}
        for month in sorted({month_of(day * DAY_MS) for day in computed}):
            days = [
                day for day in sorted(computed) if month.start_ms <= day * DAY_MS < month.end_ms
            ]
            stored = stored_month(connection, device_id, month, None)
            if stored is None or is_outdated(connection, device_id, month):
                others = set(range(day_of(month.start_ms), day_of(month.end_ms))).difference(days)
                mark_quarters(connection, [(device_id, day) for day in others])
            stored = stored or {}
            for day in days:
                for quarters in stored.values():
                    put(quarters, no_quarters(day_period(day)))
                for quantity, quarters in computed[day].items():
                    _, series_id = series[quantity]
                    put(stored.setdefault(series_id, no_quarters(month)), quarters)
            store_month(connection, device_id, month, stored)
        connection.executemany(
            "DELETE FROM dirty_quarters WHERE device_id = ? AND day = ? AND mark = ?",
            [(device_id, day, marks[day]) for day in computed],
        )
