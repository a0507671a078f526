"""Databases with a plant's readings in them."""

from contextlib import closing
from datetime import date
from pathlib import Path

from joulebook.core.quantities import quantity_of
from joulebook.core.spans import local_day
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, ServerPlace, transaction
from joulebook.storage.records import Column, DeviceRows, Site
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows
from tests.helpers.plants import CELLS, RATED_AH, Plant, plant_of_days

FIRST, LAST = date(2026, 6, 3), date(2026, 6, 5)


def empty_studio(data_dir: Path, server: ServerPlace | None = None) -> tuple[Database, Site]:
    """Return a new database with the site of the plants."""
    database = Database.open(data_dir, server)
    site = add_site(
        database,
        "studio",
        "America/Chicago",
        battery_ah=RATED_AH,
        battery_cells=CELLS,
        installed=date(2026, 6, 1),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
    )
    return database, site


def store(database: Database, site: Site, plant: Plant) -> None:
    """Write a plant's readings inside the local days that it was made for."""
    register = SeriesRegister()
    keep = slice(3, -3)  # five minutes on either side belong to other days
    with closing(database.connect()) as connection, transaction(connection):
        for device, values in plant.devices.items():
            columns = tuple(Column(name, _unit(device, name)) for name in values)
            series = register.resolve(connection, site.id, device, columns)
            lists = [plant.at_ms[keep].tolist(), *(each[keep].tolist() for each in values.values())]
            rows = DeviceRows(site.id, series[0].device_id, series, list(zip(*lists, strict=True)))
            write_rows(connection, {site.id: site.zone}, [rows])


def plant_studio(
    data_dir: Path, first: date = FIRST, last: date = LAST, server: ServerPlace | None = None
) -> tuple[Database, Site, Plant]:
    """Return a database with a plant's readings of some days, nothing computed yet."""
    database, site = empty_studio(data_dir, server)
    plant = plant_of_days(first, last, site)
    store(database, site, plant)
    return database, site, plant


def noon_ms(day: date, site: Site) -> int:
    """Return the middle of a local day. [ms, UTC epoch]"""
    span = local_day(day, site.zone)
    return (span.start_ms + span.end_ms) // 2


def _unit(device: str, quantity: str) -> str:
    known = quantity_of(device, quantity)
    return known.unit if known else "/"
