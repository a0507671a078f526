"""Keeps the stored quarter hours up with the readings, a device and month at a time."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import groupby

from joulebook.core.daily.quarters import METHOD, Quarters
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
from joulebook.storage.quarter_saving import save_quarters
from joulebook.storage.quarters import fresh_quarters
from joulebook.storage.records import Site
from joulebook.summaries.threads import in_threads


@dataclass(frozen=True, slots=True)
class _Month:
    """Computed days of a month of a device, and the marks they had before."""

    site_id: int
    device: str
    computed: dict[int, dict[str, Quarters]]
    marks: dict[int, int]


def rebuild_quarters(database: Database, site: Site) -> int:
    """Drop a site's quarter hours and compute them all from its readings.

    What is stopped half-way is finished by the service: the days that are left stay dirty, and
    are computed meanwhile when they are asked for.

    Returns
    -------
    int
        How many days of devices were computed.
    """

    def compute(month: list[DirtyQuarters]) -> _Month:
        with closing(database.connect()) as reading:
            return _computed(reading, month)

    done = 0
    with closing(database.connect()) as connection:
        clear_quarters(connection, site.id)
        months = _by_month(dirty_quarters(connection, site_id=site.id))
        for month in in_threads(compute, months):
            done += _save(connection, month)
    return done


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
    done = 0
    for month in _by_month(dirty_quarters(connection, before_day=day_of(now_ms - REACH_MS))):
        if stopping():
            break
        done += _save(connection, _computed(connection, month))
    return done


def renew_quarters(connection: Connection) -> None:
    """Mark what an earlier version of the method made."""
    mark_outdated_quarters(connection, METHOD)


def _computed(connection: Connection, days: list[DirtyQuarters]) -> _Month:
    site_id, device = days[0].site_id, days[0].device
    fresh = fresh_quarters(connection, site_id, device, [each.day for each in days])
    return _Month(site_id, device, dict(fresh), {each.day: each.mark for each in days})


def _save(connection: Connection, month: _Month) -> int:
    with transaction(connection, [month.site_id]):
        save_quarters(connection, month.site_id, month.device, month.computed, month.marks)
    return len(month.marks)


def _by_month(dirty: Iterable[DirtyQuarters]) -> Iterator[list[DirtyQuarters]]:
    for _, days in groupby(dirty, key=lambda each: (each.device_id, month_of(each.day * DAY_MS))):
        yield list(days)
