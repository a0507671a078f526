"""Databases with a battery's record in them."""

from contextlib import closing
from pathlib import Path

from joulebook.core.history import PackHistory
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site
from tests.helpers.databases import write

_COLUMNS = [Column("voltage", "V"), Column("current", "A"), Column("temperature", "Cel")]


def store_pack(data_dir: Path, history: PackHistory) -> tuple[Database, Site]:
    """Return a new database with a record as the readings of ``studio``, a site in UTC."""
    database = Database.open(data_dir)
    site = add_site(
        *(database, "studio", "UTC"), battery_ah=history.rated_ah, battery_cells=history.cells
    )
    arrays = (history.voltage_v, history.current_a, history.temperature_c)
    names = [column.quantity for column in _COLUMNS]
    rows = {
        at_ms: dict(zip(names, values, strict=True))
        for at_ms, *values in zip(
            history.at_ms.tolist(), *(array.tolist() for array in arrays), strict=True
        )
    }
    with closing(database.connect()) as connection:
        write(connection, site, "battery", rows, _COLUMNS)
    return database, site
