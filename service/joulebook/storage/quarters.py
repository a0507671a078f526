"""Quarter hours of series: stored by device and month, and always in step with the readings.

What is stored is what was computed of days whose readings have not changed since. All other days
are marked dirty, in the transaction that wrote their readings, and are computed when they are
asked for. So nobody ever sees quarter hours that are behind.
"""

import logging
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from joulebook.core.quarters import METHOD, QUARTER_MS, Gathering, Quarters, quarter_hours
from joulebook.core.spans import Span
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import joined, joined_snapshot
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import DAY_MS, day_of, day_period
from joulebook.storage.quarter_marks import dirty_days_of, mark_quarters
from joulebook.storage.quarter_months import (
    decode_month,
    encode_month,
    month_of,
    months,
    no_quarters,
)
from joulebook.storage.reading import read_device

_log = logging.getLogger(__name__)

# More than a week of arrays would not stay in a processor's cache.
_DAYS_AT_ONCE = 7

_ARRAYS = tuple(field.name for field in fields(Quarters))
_MEASURED = tuple(name for name in _ARRAYS if name != "start_ms")


@dataclass(frozen=True, slots=True)
class QuarterReadings:
    """Steps of equal length of a device's quantities; each has the same ``start_ms``."""

    step_s: int
    quantities: dict[str, Quarters]


@names_faults
def read_quarters(
    connection: sqlite3.Connection,
    site_id: int,
    device: str,
    span: Span,
    *,
    quantities: Sequence[str] | None = None,
    step_s: int = QUARTER_MS // 1000,
) -> QuarterReadings:
    """Return the quarter hours of a span, or steps of several of them.

    Parameters
    ----------
    span : Span
        Steps begin with the quarter hour that holds its start, and end with the one that holds
        its last instant.
    quantities : sequence of str, optional
        Which ones; all by default. One that the device never reported is not in the result.
    step_s : int
        A multiple of 900. [s]

    Raises
    ------
    ValueError
        If the step is none.
    """
    wide = _quarters_around(span)
    parts = stream_quarters(connection, site_id, device, wide, quantities=quantities)
    if step_s * 1000 == QUARTER_MS:
        return QuarterReadings(step_s, _joined(list(parts)))
    gatherings: dict[str, Gathering] = {}
    for part in parts:
        for quantity, quarters in part.items():
            if quantity not in gatherings:
                gatherings[quantity] = Gathering(wide, step_s * 1000)
            gatherings[quantity].add(quarters)
    return QuarterReadings(
        step_s, {quantity: gathering.result() for quantity, gathering in gatherings.items()}
    )


def _joined(parts: Sequence[Mapping[str, Quarters]]) -> dict[str, Quarters]:
    """Lay parts that follow one another, all of the same quantities, one behind the other."""
    names = parts[0].keys() if parts else ()
    return {
        name: Quarters(
            **{
                array: np.concatenate([getattr(part[name], array) for part in parts])
                for array in _ARRAYS
            }
        )
        for name in names
    }


def stream_quarters(
    connection: sqlite3.Connection,
    site_id: int,
    device: str,
    span: Span,
    *,
    quantities: Sequence[str] | None = None,
) -> Iterator[dict[str, Quarters]]:
    """Yield the quarter hours of a span a month of UTC at a time, so that years take no more.

    All months are of one state of the database, whatever is written meanwhile. See
    `read_quarters` for the parameters.
    """
    wide = _quarters_around(span)
    with joined_snapshot(connection):
        series = _series(connection, site_id, device, quantities)
        if not series:
            return
        (device_id,) = {device_id for device_id, _ in series.values()}
        ids = {series_id: quantity for quantity, (_, series_id) in series.items()}
        for month in months(wide):
            part = Span(max(month.start_ms, wide.start_ms), min(month.end_ms, wide.end_ms))
            stored = _stored(connection, device_id, month, ids)
            found = {
                quantity: _cut((stored or {}).get(series_id) or no_quarters(month), part)
                for series_id, quantity in ids.items()
            }
            first_day, end_day = day_of(part.start_ms), day_of(part.end_ms - 1) + 1
            dirty: Sequence[int] = range(first_day, end_day)
            if stored is not None:
                dirty = dirty_days_of(connection, device_id, first_day, end_day)
            fresh = fresh_quarters(connection, site_id, device, dirty, quantities=list(found))
            for _, computed in fresh:
                for quantity, quarters in computed.items():
                    _put(found[quantity], quarters)
            yield found


def fresh_quarters(
    connection: sqlite3.Connection,
    site_id: int,
    device: str,
    days: Sequence[int],
    *,
    quantities: Sequence[str] | None = None,
) -> Iterator[tuple[int, dict[str, Quarters]]]:
    """Yield UTC days, in days since 1970, with their quarter hours computed from readings.

    Days that follow one another are read together, a week at most.
    """
    for first, last in _runs(days):
        span = Span(day_period(first).start_ms, day_period(last).end_ms)
        readings = read_device(
            connection, site_id, device, span, quantities=quantities, margin_ms=REACH_MS
        )
        for day in range(first, last + 1):
            span = day_period(day)
            reached = (span.start_ms - REACH_MS, span.end_ms + REACH_MS)
            part = slice(*np.searchsorted(readings.at_ms, reached))
            values = {name: value[part] for name, value in readings.values.items()}
            yield day, quarter_hours(readings.at_ms[part], values, span=span)


def _runs(days: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield first and last of the days in order that follow one another, a week at most."""
    place = 0
    while place < len(days):
        end = place + 1
        while end < len(days) and days[end] == days[end - 1] + 1 and end - place < _DAYS_AT_ONCE:
            end += 1
        yield days[place], days[end - 1]
        place = end


@names_faults
def save_quarters(
    connection: sqlite3.Connection,
    site_id: int,
    device: str,
    computed: Mapping[int, Mapping[str, Quarters]],
    marks: Mapping[int, int],
) -> None:
    """Store the quarter hours of days and clear their marks, in one transaction.

    A day that was marked again meanwhile stays dirty.

    Parameters
    ----------
    computed : mapping of day to Quarters by quantity
        UTC days since 1970; what `fresh_quarters` returned.
    marks : mapping of day to mark
        The marks that the days had before they were computed.
    """
    with joined(connection):
        series = _series(connection, site_id, device, None)
        (device_id,) = {device_id for device_id, _ in series.values()}
        for month in sorted({month_of(day * DAY_MS) for day in computed}):
            days = [
                day for day in sorted(computed) if month.start_ms <= day * DAY_MS < month.end_ms
            ]
            stored = _stored(connection, device_id, month, None)
            if stored is None or _is_outdated(connection, device_id, month):
                others = set(range(day_of(month.start_ms), day_of(month.end_ms))).difference(days)
                mark_quarters(connection, [(device_id, day) for day in others])
            stored = stored or {}
            for day in days:
                for quarters in stored.values():
                    _put(quarters, no_quarters(day_period(day)))
                for quantity, quarters in computed[day].items():
                    _, series_id = series[quantity]
                    _put(stored.setdefault(series_id, no_quarters(month)), quarters)
            _store(connection, device_id, month, stored)
        connection.executemany(
            "DELETE FROM dirty_quarters WHERE device_id = ? AND day = ? AND mark = ?",
            [(device_id, day, marks[day]) for day in computed],
        )


def _store(
    connection: sqlite3.Connection, device_id: int, month: Span, series: Mapping[int, Quarters]
) -> None:
    connection.execute(
        """
        INSERT INTO quarters (device_id, start_ms, method, data)
        VALUES (?, ?, ?, ?)
        ON CONFLICT (device_id, start_ms) DO UPDATE
        SET method = excluded.method, data = excluded.data
        """,
        (device_id, month.start_ms, METHOD, encode_month(month, series)),
    )


def _is_outdated(connection: sqlite3.Connection, device_id: int, month: Span) -> bool:
    row = connection.execute(
        "SELECT 1 FROM quarters WHERE device_id = ? AND start_ms = ? AND method != ?",
        (device_id, month.start_ms, METHOD),
    ).fetchone()
    return row is not None


def _stored(
    connection: sqlite3.Connection, device_id: int, month: Span, ids: Mapping[int, str] | None
) -> dict[int, Quarters] | None:
    """Return what is stored of a month, or ``None`` where it is there but of no use."""
    row = connection.execute(
        "SELECT data FROM quarters WHERE device_id = ? AND start_ms = ?",
        (device_id, month.start_ms),
    ).fetchone()
    if row is None:
        return {}
    try:
        # Whatever method made them: those of an earlier one are dirty, or their readings are gone.
        return decode_month(row[0], month, ids)
    except BlockDamagedError as error:
        # They can be built again, and are: from the readings, whenever they are asked for.
        _log.warning("quarter hours of device %d are damaged: %s", device_id, error)
        return None


def _series(
    connection: sqlite3.Connection, site_id: int, device: str, quantities: Sequence[str] | None
) -> dict[str, tuple[int, int]]:
    """Return (device, series) ids by quantity, of numbers and flags."""
    rows = connection.execute(
        """
        SELECT quantity, device_id, series.id
        FROM devices
        JOIN series ON series.device_id = devices.id
        WHERE site_id = ? AND name = ? AND kind != 'text'
        ORDER BY slot
        """,
        (site_id, device),
    )
    return {
        quantity: (device_id, series_id)
        for quantity, device_id, series_id in rows
        if quantities is None or quantity in quantities
    }


def _quarters_around(span: Span) -> Span:
    start_ms = span.start_ms // QUARTER_MS * QUARTER_MS
    return Span(start_ms, max(start_ms, -(-span.end_ms // QUARTER_MS) * QUARTER_MS))


def _cut(quarters: Quarters, span: Span) -> Quarters:
    first = (span.start_ms - int(quarters.start_ms[0])) // QUARTER_MS
    part = slice(first, first + (span.end_ms - span.start_ms) // QUARTER_MS)
    return Quarters(**{name: getattr(quarters, name)[part] for name in _ARRAYS})


def _put(target: Quarters, part: Quarters) -> None:
    """Write quarter hours over those of the same time, as far as the target reaches."""
    offset = (int(part.start_ms[0]) - int(target.start_ms[0])) // QUARTER_MS
    end = min(offset + part.start_ms.size, target.start_ms.size)
    for name in _MEASURED:
        getattr(target, name)[max(offset, 0) : end] = getattr(part, name)[
            max(-offset, 0) : end - offset
        ]
