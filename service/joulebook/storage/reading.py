"""Readings out of the database, as arrays."""

import sqlite3
from collections.abc import Sequence

import numpy as np

from joulebook.core.spans import Span
from joulebook.storage.faults import names_faults
from joulebook.storage.records import DeviceReadings, Latest, Series
from joulebook.storage.series import series_of


@names_faults
def read_device(
    connection: sqlite3.Connection,
    site_id: int,
    device: str,
    span: Span,
    *,
    quantities: Sequence[str] | None = None,
    margin_ms: int = 0,
) -> DeviceReadings:
    """Return what a device measured in a span, numbers and flags (0 and 1), without text.

    Parameters
    ----------
    quantities : sequence of str, optional
        Which ones; all by default. One that the device never reported is not in the result.
    margin_ms : int
        Widens the span at both ends, for power held across midnight.

    Returns
    -------
    DeviceReadings
        ``at_ms`` int64 (n,) strictly increasing; each quantity float64 (n,), NaN where an
        instant brought others but not this one. Empty where there is nothing.
    """
    columns = [
        series
        for series in series_of(connection, site_id)
        if series.device == device
        and series.kind != "text"
        and (quantities is None or series.quantity in quantities)
    ]
    if not columns:
        return DeviceReadings(np.empty(0, dtype=np.int64), {})
    names = ", ".join(f"v{series.slot}" for series in columns)
    rows = connection.execute(
        f"""
        SELECT at_ms, {names}
        FROM readings
        WHERE device_id = ? AND at_ms >= ? AND at_ms < ?
        ORDER BY at_ms
        """,  # noqa: S608 -- names of columns, made of integers of ours
        (columns[0].device_id, span.start_ms - margin_ms, span.end_ms + margin_ms),
    ).fetchall()
    # Instants in ms are exact in a float64 until the year 287396.
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 1 + len(columns))
    at_ms, *values = np.ascontiguousarray(table.T)
    return DeviceReadings(
        at_ms.astype(np.int64),
        {series.quantity: array for series, array in zip(columns, values, strict=True)},
    )


@names_faults
def devices_of(connection: sqlite3.Connection, site_id: int) -> list[str]:
    """Return the names of a site's devices, in order."""
    rows = connection.execute(
        "SELECT name FROM devices WHERE site_id = ? ORDER BY name", (site_id,)
    )
    return [name for (name,) in rows]


@names_faults
def readings_span(connection: sqlite3.Connection, site_id: int) -> Span | None:
    """Return the span from a site's first reading to 1 ms after its last, if it has any."""
    # Two seeks a device; min and max in one SELECT would read every row.
    first_ms, last_ms = connection.execute(
        """
        SELECT
            min((SELECT min(at_ms) FROM readings WHERE device_id = devices.id)),
            max((SELECT max(at_ms) FROM readings WHERE device_id = devices.id))
        FROM devices
        WHERE site_id = ?
        """,
        (site_id,),
    ).fetchone()
    return None if first_ms is None else Span(first_ms, last_ms + 1)


@names_faults
def latest_readings(connection: sqlite3.Connection, site_id: int) -> list[Latest]:
    """Return the newest reading of each series that has one, numbers, text and flags."""
    rows = connection.execute(
        """
        SELECT newest.series_id, newest.at_ms, newest.value
        FROM newest
        JOIN series ON series.id = newest.series_id
        JOIN devices ON devices.id = series.device_id
        WHERE devices.site_id = ?
        """,
        (site_id,),
    )
    newest = {series_id: (at_ms, value) for series_id, at_ms, value in rows}
    return [
        _latest(series, *newest[series.id])
        for series in series_of(connection, site_id)
        if series.id in newest
    ]


def _latest(series: Series, at_ms: int, value: float | str) -> Latest:
    return Latest(series, at_ms, bool(value) if series.kind == "flag" else value)
