"""Readings out of the database, as arrays, whether their rows are hot or sealed."""

from collections.abc import Iterator, Sequence

import numpy as np

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.blockstore import read_sealed
from joulebook.storage.connections import Connection, joined_snapshot, on_server
from joulebook.storage.faults import names_faults, naming_faults
from joulebook.storage.hotrows import read_hot
from joulebook.storage.overlays import in_line, overlaid
from joulebook.storage.periods import weeks
from joulebook.storage.records import DamagedBlock, DeviceReadings, Latest, Series


@names_faults
def read_device(
    connection: Connection,
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
    with joined_snapshot(connection):
        columns = columns_of(connection, site_id, device, quantities)
        if not columns:
            return DeviceReadings(np.empty(0, dtype=np.int64), {})
        wide = Span(span.start_ms - margin_ms, span.end_ms + margin_ms)
        return _readings(connection, columns, wide)


def read_pieces(
    connection: Connection,
    site_id: int,
    device: str,
    span: Span,
    *,
    quantities: Sequence[str] | None = None,
    margin_ms: int = 0,
) -> list[DeviceReadings]:
    """Return what :func:`read_device` does, in pieces that follow one another, one at least.

    Laying a week and its margins one behind the other would copy all of it.
    """
    with naming_faults(connection), joined_snapshot(connection):
        columns = columns_of(connection, site_id, device, quantities)
        if not columns:
            return [DeviceReadings(np.empty(0, dtype=np.int64), {})]
        wide = Span(span.start_ms - margin_ms, span.end_ms + margin_ms)
        pieces, _ = _pieces(connection, columns, wide)
        return [_named(piece, columns) for piece in pieces]


def _readings(connection: Connection, columns: Sequence[Series], span: Span) -> DeviceReadings:
    block, damaged = read_series(connection, columns, span)
    return _named(block, columns, damaged)


def _named(
    block: DeviceBlock, columns: Sequence[Series], damaged: tuple[DamagedBlock, ...] = ()
) -> DeviceReadings:
    return DeviceReadings(
        block.at_ms,
        {series.quantity: block.columns[series.id].values for series in columns},
        damaged,
    )


@names_faults
def read_series(
    connection: Connection, series: Sequence[Series], span: Span
) -> tuple[DeviceBlock, tuple[DamagedBlock, ...]]:
    """Return the readings of some series of one device, texts too, and which blocks are damaged.

    Parameters
    ----------
    series : sequence of Series
        One at least.
    """
    pieces, damaged = _pieces(connection, series, span)
    return in_line(pieces, {one.id: one.kind for one in series}), damaged


def _pieces(
    connection: Connection, series: Sequence[Series], span: Span
) -> tuple[list[DeviceBlock], tuple[DamagedBlock, ...]]:
    """Return readings in pieces that follow one another, each with all of the series."""
    device_id = series[0].device_id
    kinds = {one.id: one.kind for one in series}
    with joined_snapshot(connection):
        sealed, damaged = read_sealed(connection, device_id, span, kinds)
        hot = read_hot(connection, device_id, span, series)
    if len(hot.at_ms) or not sealed:
        return [overlaid(in_line(sealed, kinds), hot, kinds)], tuple(damaged)
    return [in_line([part], kinds) for part in sealed], tuple(damaged)


def stream_device(
    connection: Connection,
    site_id: int,
    device: str,
    span: Span,
    *,
    quantities: Sequence[str] | None = None,
) -> Iterator[DeviceReadings]:
    """Yield what :func:`read_device` would return, an ISO week at a time, in order.

    So years of readings take the memory of a week. Weeks without readings are left out, but for
    those that name a damaged block.
    """
    with naming_faults(connection):
        columns = columns_of(connection, site_id, device, quantities)
    for week in weeks(span) if columns else ():
        readings = _readings(connection, columns, week)
        if len(readings.at_ms) or readings.damaged:
            yield readings


def columns_of(
    connection: Connection, site_id: int, device: str, quantities: Sequence[str] | None
) -> list[Series]:
    """Return the wanted series of a device that are numbers or flags, in the order of columns."""
    rows = connection.execute(
        """
        SELECT series.id, devices.id, quantity, unit, kind, slot
        FROM devices
        JOIN series ON series.device_id = devices.id
        WHERE devices.site_id = ? AND devices.name = ? AND kind != 'text'
        ORDER BY slot
        """,
        (site_id, device),
    )
    return [
        Series(series_id, site_id, device_id, device, quantity, unit, kind, slot)
        for series_id, device_id, quantity, unit, kind, slot in rows
        if quantities is None or quantity in quantities
    ]


@names_faults
def devices_of(connection: Connection, site_id: int) -> list[str]:
    """Return the names of a site's devices, in order."""
    rows = connection.execute(
        "SELECT name FROM devices WHERE site_id = ? ORDER BY name", (site_id,)
    )
    return [name for (name,) in rows]


@names_faults
def readings_span(connection: Connection, site_id: int) -> Span | None:
    """Return the span from a site's first reading to 1 ms after its last, if it has any."""
    # Four seeks a device; min and max of one SELECT would read every row.
    ends = connection.execute(
        """
        SELECT
            min((SELECT min(at_ms) FROM readings WHERE device_id = devices.id)),
            max((SELECT max(at_ms) FROM readings WHERE device_id = devices.id)),
            min((
                SELECT first_ms FROM blocks WHERE device_id = devices.id ORDER BY start_ms LIMIT 1
            )),
            max((
                SELECT last_ms
                FROM blocks
                WHERE device_id = devices.id
                ORDER BY start_ms DESC
                LIMIT 1
            ))
        FROM devices
        WHERE site_id = ?
        """,
        (site_id,),
    ).fetchone()
    known = [at_ms for at_ms in ends if at_ms is not None]
    return Span(min(known), max(known) + 1) if known else None


@names_faults
def first_readings(connection: Connection, site_id: int) -> dict[str, int]:
    """Return the first instant of each device of a site that has readings. [ms, UTC epoch]"""
    rows = connection.execute(
        """
        SELECT
            name,
            (SELECT min(at_ms) FROM readings WHERE device_id = devices.id),
            (SELECT first_ms FROM blocks WHERE device_id = devices.id ORDER BY start_ms LIMIT 1)
        FROM devices
        WHERE site_id = ?
        """,
        (site_id,),
    )
    return {
        device: min(at_ms for at_ms in (hot_ms, sealed_ms) if at_ms is not None)
        for device, hot_ms, sealed_ms in rows
        if (hot_ms, sealed_ms) != (None, None)
    }


@names_faults
def latest_readings(connection: Connection, site_id: int) -> list[Latest]:
    """Return the newest reading of each series that has one, numbers, text and flags."""
    # A file's column holds any kind of value, a server's one kind each.
    value = "number, text" if on_server(connection) else "value, NULL"
    rows = connection.execute(
        f"""
        SELECT series.id, devices.id, devices.name, quantity, unit, kind, slot, at_ms, {value}
        FROM devices
        JOIN series ON series.device_id = devices.id
        JOIN newest ON newest.series_id = series.id
        WHERE devices.site_id = ?
        ORDER BY devices.name, slot
        """,  # noqa: S608 -- names of columns
        (site_id,),
    )
    return [
        _latest(
            Series(series_id, site_id, device_id, device, quantity, unit, kind, slot),
            at_ms,
            value if text is None else text.decode(),
        )
        for series_id, device_id, device, quantity, unit, kind, slot, at_ms, value, text in rows
    ]


def _latest(series: Series, at_ms: int, value: float | str) -> Latest:
    return Latest(series, at_ms, bool(value) if series.kind == "flag" else value)
