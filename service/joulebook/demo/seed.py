"""Fill a database with the studio's past, through the door that imports use."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import date

from joulebook.demo.history import History, Stretch, came
from joulebook.demo.studio import (
    BATTERY_AH,
    BATTERY_CELLS,
    DAY_MS,
    ENTERED,
    MONTHS,
    SITE,
    TIMEZONE,
    installation_date,
)
from joulebook.demo.tariff import enter_tariff
from joulebook.errors import DataRefusedError
from joulebook.ingest.bulk import BulkImport, DeviceColumns
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import Database
from joulebook.storage.days import dirty_count
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from joulebook.storage.sealing import seal_all
from joulebook.storage.site_facts import SiteFacts
from joulebook.summaries.recompute import recompute

_PIECE_DAYS = 30


@dataclass(frozen=True, slots=True)
class SeedCounts:
    """What a run of :func:`seed` did, and the history, told up to now.

    Attributes
    ----------
    new : int
        Readings that were not there before.
    days : int
        Local days computed.
    history : History
        For :class:`joulebook.demo.publish.LivePublisher` to go on with.
    """

    new: int
    days: int
    history: History


def seed(
    database: Database,
    *,
    clock_ms: Callable[[], int],
    progress: Callable[[int, int], None],
    months: int = MONTHS,
) -> SeedCounts:
    """Make the site `studio` and fill it up to now; a later run goes on where the last one ended.

    Parameters
    ----------
    clock_ms : callable
        Now. [ms, UTC epoch]
    progress : callable
        Told how much is done, of how much: each day counts once when it is told and once when
        it is computed.
    months : int
        How long ago the studio began, on the first run.

    Raises
    ------
    DataRefusedError
        If there is a site of this name that the demonstration did not make.
    """
    now_ms = clock_ms()
    site, installed = _site(database, now_ms, months)
    history = History(installed)
    total = max((now_ms - history.start_ms) // DAY_MS + 1, 0)
    newest_ms = _newest_ms(database, site)
    with BulkImport(database, site, source="demo", clock_ms=clock_ms) as bulk:
        for stretch in history.until(now_ms, _PIECE_DAYS):
            for columns in _fresh(stretch, history.start_ms, newest_ms, now_ms):
                bulk.add(columns)
            progress((stretch.end_ms - history.start_ms) // DAY_MS, 2 * total)
    seal_all(database, now_ms)
    days = 0
    if _has_dirty_days(database):
        days = recompute(
            database,
            site,
            clock_ms=clock_ms,
            progress=lambda done, of: progress(total + total * done // of, 2 * total),
        )
    progress(2 * total, 2 * total)
    return SeedCounts(bulk.counts.new, days, history)


def _site(database: Database, now_ms: int, months: int) -> tuple[Site, date]:
    """Return the studio, made when missing, and the date on which its history begins."""
    for site in sites(database):
        if site.name != SITE:
            continue
        facts = (site.timezone, site.battery_ah, site.battery_cells)
        if site.installed is None or facts != (TIMEZONE, BATTERY_AH, BATTERY_CELLS):
            raise DataRefusedError(
                f"there is a site {SITE!r} that the demonstration did not make",
                where=database.path,
                expected="a data directory of its own for the demonstration",
                next_step="name another directory with --data",
            )
        return site, site.installed
    installed = installation_date(now_ms, months)
    entered = ENTERED | SiteFacts(installed=installed, commissioned=installed)
    site = add_site(database, SITE, TIMEZONE, **entered)
    enter_tariff(database, site, installed, now_ms=now_ms)
    return site, installed


def _newest_ms(database: Database, site: Site) -> dict[str, int]:
    """Return the instant of each device's newest reading: a run may have ended between two."""
    newest_ms: dict[str, int] = {}
    with closing(database.connect()) as connection:
        for latest in latest_readings(connection, site.id):
            device = latest.series.device
            newest_ms[device] = max(newest_ms.get(device, latest.at_ms), latest.at_ms)
    return newest_ms


def _has_dirty_days(database: Database) -> bool:
    # An earlier run may have ended before it had computed all.
    with closing(database.connect()) as connection:
        return dirty_count(connection) > 0


def _fresh(
    stretch: Stretch, start_ms: int, newest_ms: dict[str, int], now_ms: int
) -> list[DeviceColumns]:
    """Return what the bridge heard later than what is stored, and not later than now."""
    fresh: list[DeviceColumns] = []
    for device, (at_ms, values) in came(stretch, start_ms).items():
        wanted = (at_ms > newest_ms.get(device, 0)) & (at_ms <= now_ms)
        if wanted.any():
            columns = {quantity: column[wanted] for quantity, column in values.items()}
            fresh.append(DeviceColumns(device, at_ms[wanted], columns))
    return fresh
