"""Keeps the stored quarter hours up with the readings, a device and month at a time."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from itertools import groupby

from joulebook.core.quarters import METHOD
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import DAY_MS, day_of
from joulebook.storage.quarter_marks import (
    DirtyQuarters,
    clear_quarters,
    dirty_quarters,
    mark_outdated_quarters,
)
from joulebook.storage.quarter_months import month_of
from joulebook.storage.quarters import fresh_quarters, save_quarters
from joulebook.storage.records import Site


def rebuild_quarters(database: Database, site: Site) -> int:
    """Drop a site's quarter hours and compute them all from its readings.

    What is stopped half-way is finished by the service: the days that are left stay dirty, and
    are computed meanwhile when they are asked for.

    Returns
    -------
    int
        How many days of devices were computed.
    """
    with closing(database.connect()) as connection:
        clear_quarters(connection, site.id)
        return _compute(connection, dirty_quarters(connection, site_id=site.id))


def catch_up_quarters(
    connection: Connection, *, now_ms: int, stopping: Callable[[], bool] = lambda: False
) -> int:
    """Compute the dirty days, of all sites, that no reading of now can reach any more.

    Today is left alone: each reading would make it dirty again.

    Parameters
    ----------
    now_ms : int
        Now. [ms, UTC epoch]
    stopping : callable
        Asked before each month of a device; what is left stays dirty.

    Returns
    -------
    int
        How many days of devices were computed.
    """
    over = dirty_quarters(connection, before_day=day_of(now_ms - REACH_MS))
    return _compute(connection, over, stopping)


def renew_quarters(connection: Connection) -> None:
    """Mark what an earlier version of the method made."""
    mark_outdated_quarters(connection, METHOD)


def _compute(
    connection: Connection,
    dirty: Iterable[DirtyQuarters],
    stopping: Callable[[], bool] = lambda: False,
) -> int:
    done = 0
    for month in _by_month(dirty):
        if stopping():
            break
        first = month[0]
        computed = {
            each.day: fresh_quarters(connection, first.site_id, first.device, each.day)
            for each in month
        }
        with transaction(connection):
            save_quarters(
                connection,
                first.site_id,
                first.device,
                computed,
                {each.day: each.mark for each in month},
            )
        done += len(month)
    return done


def _by_month(dirty: Iterable[DirtyQuarters]) -> Iterator[list[DirtyQuarters]]:
    for _, days in groupby(dirty, key=lambda each: (each.device_id, month_of(each.day * DAY_MS))):
        yield list(days)
