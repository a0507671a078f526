"""The hot path: readings into wide rows, each (series, instant) stored exactly once.

Fast for what comes in order: rows later than all that their device has are inserted without a
look at the table. The rest, late or sent again, is compared with what is there, in the hot rows
and in the sealed blocks. All that is new or different becomes a hot row: blocks are never
written here.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain, islice
from operator import lt, ne
from typing import cast
from zoneinfo import ZoneInfo

from joulebook.storage.blockstore import sealed_values
from joulebook.storage.connections import Connection, require_transaction
from joulebook.storage.faults import names_faults
from joulebook.storage.hot_statements import (
    Ends,
    Row,
    ends_of,
    hot_values,
    insert_fresh,
    upsert_merged,
    upsert_newest,
)
from joulebook.storage.hotrows import note_hot
from joulebook.storage.marking import mark_reached
from joulebook.storage.periods import days_of
from joulebook.storage.quarter_marks import days_reached, mark_quarters
from joulebook.storage.records import DeviceRows, Series, Value, Written


@names_faults
def write_rows(
    connection: Connection,
    zone_of: Callable[[int], ZoneInfo] | dict[int, ZoneInfo],
    batch: Sequence[DeviceRows],
) -> Written:
    """Store readings and mark the days they reach, in the caller's transaction.

    A reading that is there with the same value is a repeat and changes nothing; with another
    value it is replaced. A row may bring some of an instant's quantities: the others stay. The
    same key may come several times in one batch; the last one stays.

    Parameters
    ----------
    zone_of : callable or dict
        The time zone of a site's id.
    batch : sequence of DeviceRows
        In the order of their arrival.

    Raises
    ------
    StorageUnavailableError
        If the disk is full or the file cannot be written.
    """
    require_transaction(connection)
    written = Written()
    changed: dict[int, list[int]] = {}
    hot: set[tuple[int, int]] = set()
    reached: set[tuple[int, int]] = set()
    newest: list[tuple[Series, Value, Value]] = []
    for part, counts, rows in _written(connection, _together(batch)):
        written += counts
        if rows:
            newest += _newest(part.series, rows)
            times = _times(rows)
            changed.setdefault(part.site_id, []).extend(times)
            hot.update((part.device_id, day) for day in days_of(times))
            reached.update((part.device_id, day) for day in days_reached(times))
    if hot:
        upsert_newest(connection, newest)
        note_hot(connection, hot)
        mark_quarters(connection, reached)
        zones = zone_of if callable(zone_of) else zone_of.__getitem__
        mark_reached(
            connection, ((site_id, zones(site_id), times) for site_id, times in changed.items())
        )
    return written


def _together(batch: Sequence[DeviceRows]) -> list[DeviceRows]:
    """Join what a device sent under the same series in a row, for each part costs a look-up.

    Only a device's own order matters: parts of other devices in between may be passed over.
    """
    joined: dict[int, list[DeviceRows]] = {}
    for part in batch:
        before = joined.setdefault(part.device_id, [])
        if before and before[-1].series == part.series:
            before[-1].rows.extend(part.rows)
        else:
            before.append(replace(part, rows=part.rows.copy()))
    return [part for parts in joined.values() for part in parts]


def _written(
    connection: Connection, parts: Sequence[DeviceRows]
) -> Iterator[tuple[DeviceRows, Written, list[Row]]]:
    """Write parts; yield the counts and the rows that changed, in order of time, for each.

    What is asked and inserted goes to the database for many devices at once. A device that comes
    again must see what was written of it before.
    """
    while parts:
        first: dict[int, DeviceRows] = {}
        for part in parts:
            first.setdefault(part.device_id, part)
        parts = [part for part in parts if first[part.device_id] is not part]
        ends = ends_of(connection, list(first))
        fresh = []
        for part in first.values():
            counts, late, latest = _sorted_in(connection, part, ends[part.device_id])
            fresh.append((part.device_id, part.series, latest))
            yield part, counts, late + latest
        insert_fresh(connection, fresh)


def _sorted_in(
    connection: Connection, part: DeviceRows, ends: Ends
) -> tuple[Written, list[Row], list[Row]]:
    """Write a part's late rows; return the counts, which of them changed, and the fresh rows."""
    rows = _without_empty(part.rows)
    if not rows:
        return Written(), [], []
    times = _times(rows)
    hot_ms, sealed_ms = ends
    split = 0
    if not all(map(lt, times, islice(times, 1, None))):
        split = len(rows)
    elif hot_ms is not None or sealed_ms is not None:
        split = bisect_right(times, max(last for last in (hot_ms, sealed_ms) if last is not None))
    counts = Written()
    changed: list[Row] = []
    if split:
        late = rows[:split]
        stored = hot_values(connection, part.device_id, part.series, late)
        if sealed_ms is not None and min(times) <= sealed_ms:
            instants = [at_ms for at_ms in times[:split] if at_ms <= sealed_ms]
            below = sealed_values(connection, part.device_id, part.series, instants)
            _put_below(stored, below)
        counts, changed = _merge(connection, part, stored, late)
    fresh = rows[split:]
    if fresh:
        values = sum(map(len, fresh)) - sum(row.count(None) for row in fresh) - len(fresh)
        counts += Written(new=values)
    return counts, changed, fresh


def _put_below(stored: dict[Value, Row], sealed: dict[int, Row]) -> None:
    """Fill what hot rows do not know from sealed ones: a hot value is the later word."""
    for at_ms, values in sealed.items():
        hot = stored.get(at_ms)
        stored[at_ms] = (
            values
            if hot is None
            else tuple(
                below if above is None else above for above, below in zip(hot, values, strict=True)
            )
        )


def _merge(
    connection: Connection, part: DeviceRows, stored: dict[Value, Row], rows: list[Row]
) -> tuple[Written, list[Row]]:
    """Compare rows with what is stored, in the order of their arrival, and store what differs."""
    new = repeated = replaced = 0
    changed: set[Value] = set()
    nothing: Row = (None,) * len(part.series)
    for at_ms, *values in rows:
        known = list(stored.get(at_ms, nothing))
        for place, value in enumerate(values):
            if value is None:
                continue
            before = known[place]
            if before == value:
                repeated += 1
                continue
            if before is None:
                new += 1
            else:
                replaced += 1
            known[place] = value
            changed.add(at_ms)
        stored[at_ms] = tuple(known)
    merged = sorted((at_ms, *stored[at_ms]) for at_ms in changed)
    upsert_merged(connection, part.device_id, part.series, merged)
    return Written(new, repeated, replaced), merged


def _without_empty(rows: list[Row]) -> list[Row]:
    """Drop what is no reading: NaN is missing, and a row of nothing but missing is none."""
    values = list(chain.from_iterable(rows))
    if any(map(ne, values, values)):  # only NaN differs from itself
        rows = [tuple(None if value != value else value for value in row) for row in rows]
        values = list(chain.from_iterable(rows))
    if None not in values:
        return rows
    return [row for row in rows if row.count(None) < len(row) - 1]


def _times(rows: Iterable[Row]) -> list[int]:
    return cast("list[int]", [row[0] for row in rows])


def _newest(series: tuple[Series, ...], rows: list[Row]) -> Iterator[tuple[Series, Value, Value]]:
    """Yield the newest reading of each series, for a dead one would be far to search for."""
    for place, one in enumerate(series, start=1):
        row = next((row for row in reversed(rows) if row[place] is not None), None)
        if row is not None:
            yield one, row[0], row[place]
