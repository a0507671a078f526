"""A site of round numbers to tell what it carries: nine days in minutes, on the clock of UTC.

Each day 40.75 A go in from 8:00 to 10:00, the battery is held full until 12:00, and 20 A go out
from 16:00 to 20:00. The load is 200 W on each leg, and a kettle takes 1500 W more on L1 from 7:00
to 7:03, for which the battery gives 30 A more and falls by 0.6 V: as much goes out as in. The grid
is away from 20:00 to 21:00 of the sixth day. The last reading is that of midnight.
"""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from joulebook.core.history import Instants
from joulebook.core.spans import days_span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.plants import Plant
from tests.helpers.stored_plants import store

RATED_AH, CELLS, DAYS = 200.0, 16, 9
FIRST, LAST = date(2026, 6, 1), date(2026, 6, 9)
MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000


def carried_plant(site: Site) -> Plant:
    """Return the readings, with three more on either side that `store` leaves out."""
    span = days_span(FIRST, LAST, site.zone)
    at_ms: Instants = np.arange(
        span.start_ms - 3 * MINUTE_MS, span.end_ms + 3 * MINUTE_MS + 1, MINUTE_MS, dtype=np.int64
    )
    hour = (at_ms - span.start_ms) / HOUR_MS % 24
    kettle = (hour >= 7) & (hour < 7.05)
    held = (hour >= 10) & (hour < 12)
    current = np.where((hour >= 8) & (hour < 10), 40.75, 0.0)
    current -= np.where((hour >= 16) & (hour < 20), 20.0, 0.0) + np.where(kettle, 30.0, 0.0)
    voltage = np.where(held, 3.45 * CELLS, 3.3 * CELLS) - np.where(kettle, 0.6, 0.0)
    away_ms = span.start_ms + 5 * DAY_MS + 20 * HOUR_MS
    away = (at_ms >= away_ms) & (at_ms < away_ms + HOUR_MS)
    l1 = np.where(kettle, 1700.0, 200.0)
    l2 = np.full(hour.size, 200.0)
    leg_v = np.where(away, 0.0, 120.0)
    return Plant(
        at_ms,
        {
            "battery": {
                "voltage": voltage,
                "current": current,
                "soc": np.full(hour.size, 0.7),
                "cell_voltage_min": voltage / CELLS - 0.01,
            },
            "pv": {"power": np.where((hour >= 6) & (hour < 18), 2000.0, 0.0)},
            "grid": {"power": np.zeros(hour.size), "voltage_l1": leg_v, "voltage_l2": leg_v},
            "load": {"power": l1 + l2, "power_l1": l1, "power_l2": l2},
        },
        np.zeros(hour.size),
    )


def without(plant: Plant, *names: str) -> Plant:
    """Return a plant without devices, or quantities as ``device.quantity``."""
    return replace(
        plant,
        devices={
            device: {
                quantity: values
                for quantity, values in quantities.items()
                if f"{device}.{quantity}" not in names
            }
            for device, quantities in plant.devices.items()
            if device not in names
        },
    )


def carried_site(
    data_dir: Path, *missing: str, rated: bool = True, inverter_w: float | None = None
) -> tuple[Database, Site]:
    """Return a database with the site's readings, some of them missing."""
    database = Database.open(data_dir)
    site = add_site(
        database,
        "studio",
        "UTC",
        battery_ah=RATED_AH if rated else None,
        battery_cells=CELLS if rated else None,
        inverter_w=inverter_w,
    )
    store(database, site, without(carried_plant(site), *missing))
    return database, site


def end_ms() -> int:
    """Return the midnight at which the readings end. [ms, UTC epoch]"""
    return days_span(FIRST, LAST, Site(id=1, name="studio", timezone="UTC").zone).end_ms
