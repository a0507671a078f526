"""A studio with powers that are priced by hand.

Eight whole days of June 2026 in Lisbon, a reading a minute: the panels give 2000 W from 8:00 to
16:00, 1000 W are used all the time, and the battery takes and gives what keeps the grid at rest,
except that 500 W are bought from midnight to 6:00 and 400 W sold from 12:00 to 16:00. 50 W are
always lost.
"""

from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from joulebook.core.history import Floats, Instants
from joulebook.core.spans import days_span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.storage.tariffs import TariffVersion, add_tariff
from joulebook.summaries.recompute import recompute
from tests.helpers.pages import Studio, client_of
from tests.helpers.plants import Plant
from tests.helpers.priced import two_bands
from tests.helpers.stored_plants import store

FIRST, LAST = date(2026, 6, 3), date(2026, 6, 10)
MINUTE_MS = 60_000
#: Noon of the day after the last. [ms, UTC epoch]
NOW_MS = 1_781_175_600_000
#: What a report says of the inverter's own draw.
IDLE: dict[str, Any] = {
    "idle_w": {"value": 50.0, "low": 45.0, "high": 55.0, "coverage_ratio": 0.3, "method": "idle-2"}
}


def powers(site: Site, first: date = FIRST, last: date = LAST) -> Plant:
    """Return the readings, with three more on either side that `store` leaves out."""
    span = days_span(first, last, site.zone)
    at_ms: Instants = np.arange(
        span.start_ms - 3 * MINUTE_MS, span.end_ms + 3 * MINUTE_MS + 1, MINUTE_MS, dtype=np.int64
    )
    hour = (at_ms - span.start_ms) / 3_600_000 % 24
    pv = np.where((hour >= 8) & (hour < 16), 2000.0, 0.0)
    load = np.full(hour.size, 1000.0)
    grid = np.where(hour < 6, 500.0, 0.0) - np.where((hour >= 12) & (hour < 16), 400.0, 0.0)
    return Plant(
        at_ms,
        {
            "pv": {"power": pv},
            "load": {"power": load},
            "grid": {"power": grid},
            "battery": {"power": pv + grid - load - 50.0},
        },
        np.full(hour.size, 50.0),
    )


def priced_studio(
    data_dir: Path,
    *missing: str,
    tariff_from: date | None = date(2026, 1, 1),
    first: date = FIRST,
    last: date = LAST,
) -> tuple[Database, Site]:
    """Return the database, its days summed up, without the devices named."""
    database = Database.open(data_dir)
    site = add_site(database, "studio", "Europe/Lisbon", battery_ah=200.0, battery_cells=16)
    plant = powers(site, first, last)
    devices = {name: each for name, each in plant.devices.items() if name not in missing}
    store(database, site, Plant(plant.at_ms, devices, plant.loss_w))
    if tariff_from is not None:
        with closing(database.connect()) as connection:
            tariff = two_bands(tariff_from, fixed_per_month="30")
            add_tariff(connection, site, TariffVersion(id=0, tariff=tariff, made_ms=1))
    recompute(database, site, clock_ms=lambda: NOW_MS)
    return database, site


def priced_pages(data_dir: Path, *, tariff_from: date | None = date(2026, 1, 1)) -> Studio:
    """Return the studio behind the real application."""
    database, site = priced_studio(data_dir, tariff_from=tariff_from)
    return Studio(client_of(database, now_ms=NOW_MS), database, site)


def self_serving_pages(data_dir: Path) -> Studio:
    """Return thirty days of a studio that serves itself first, behind the real application.

    A reading every five minutes: 1000 W of sun from 6:00 to 16:00, 1000 W used from 18:00 to
    24:00. The battery of 4 kWh above its reserve takes the sun until 10:00 and gives until
    22:00; what is over is sold, what is missing is bought. Nothing is lost.
    """
    database = Database.open(data_dir)
    site = add_site(database, "studio", "Europe/Lisbon", battery_ah=86.8, battery_cells=16)
    span = days_span(date(2026, 5, 12), LAST, site.zone)
    at_ms: Instants = np.arange(
        span.start_ms - 3 * 300_000, span.end_ms + 3 * 300_000 + 1, 300_000, dtype=np.int64
    )
    hour = (at_ms - span.start_ms) / 3_600_000 % 24

    def between(first: float, last: float) -> Floats:
        return np.where((hour >= first) & (hour < last), 1000.0, 0.0)

    devices = {
        "pv": {"power": between(6, 16)},
        "load": {"power": between(18, 24)},
        "grid": {"power": between(22, 24) - between(10, 16)},
        "battery": {"power": between(6, 10) - between(18, 22)},
    }
    store(database, site, Plant(at_ms, devices, np.zeros(hour.size)))
    with closing(database.connect()) as connection:
        add_tariff(connection, site, TariffVersion(id=0, tariff=two_bands(), made_ms=1))
    recompute(database, site, clock_ms=lambda: NOW_MS)
    return Studio(client_of(database, now_ms=NOW_MS), database, site)
