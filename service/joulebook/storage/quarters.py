"""Quarter hours of series: stored by device and month, and always in step with the readings.

What is stored is what was computed of days whose readings have not changed since. All other days
are marked dirty, in the transaction that wrote their readings, and are computed when they are
asked for. So nobody ever sees quarter hours that are behind.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.daily.quarters import QUARTER_MS, Gathering, Quarters, quarter_hours
from joulebook.core.spans import Span
from joulebook.storage.connections import Connection, joined_snapshot
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import day_of, day_period
from joulebook.storage.quarter_marks import dirty_days_of
from joulebook.storage.quarter_months import ARRAYS, cut, months, no_quarters, put
from joulebook.storage.quarter_rows import series_ids, stored_month
from joulebook.storage.reading import read_device

# More than a week of arrays would not stay in a processor's cache.
_DAYS_AT_ONCE = 7


@dataclass(frozen=True, slots=True)
class QuarterReadings:
    """Steps of equal length of a device's quantities; each has the same ``start_ms``."""

    step_s: int
    quantities: dict[str, Quarters]


@names_faults
def read_quarters(
    connection: Connection,
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
                for array in ARRAYS
            }
        )
        for name in names
    }


def stream_quarters(
    connection: Connection,
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
        series = series_ids(connection, site_id, device, quantities)
        if not series:
            return
        (device_id,) = {device_id for device_id, _ in series.values()}
        ids = {series_id: quantity for quantity, (_, series_id) in series.items()}
        for month in months(wide):
            part = Span(max(month.start_ms, wide.start_ms), min(month.end_ms, wide.end_ms))
            stored = stored_month(connection, device_id, month, ids)
            found = {
                quantity: cut((stored or {}).get(series_id) or no_quarters(month), part)
                for series_id, quantity in ids.items()
            }
            first_day, end_day = day_of(part.start_ms), day_of(part.end_ms - 1) + 1
            dirty: Sequence[int] = range(first_day, end_day)
            if stored is not None:
                dirty = dirty_days_of(connection, device_id, first_day, end_day)
            fresh = fresh_quarters(connection, site_id, device, dirty, quantities=list(found))
            for _, computed in fresh:
                for quantity, quarters in computed.items():
                    put(found[quantity], quarters)
            yield found


def fresh_quarters(
    connection: Connection,
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


def _quarters_around(span: Span) -> Span:
    start_ms = span.start_ms // QUARTER_MS * QUARTER_MS
    return Span(start_ms, max(start_ms, -(-span.end_ms // QUARTER_MS) * QUARTER_MS))
