"""Databases with a studio in them, and rows to write there."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, ServerPlace, transaction
from joulebook.storage.records import Column, DeviceRows, Site, Value, Written
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows

#: 2026-03-01T12:00:00Z, an ordinary noon. [ms, UTC epoch]
NOON_MS = 1_772_366_400_000


def studio(
    data_dir: Path, timezone: str = "Europe/Lisbon", server: ServerPlace | None = None
) -> tuple[Database, Site]:
    """Return a new database and its only site, ``studio``."""
    database = Database.open(data_dir, server)
    return database, add_site(database, "studio", timezone)


def write(
    connection: Connection,
    site: Site,
    device: str,
    rows: Mapping[int, Mapping[str, Value]],
    columns: Sequence[Column] | None = None,
) -> Written:
    """Write one row for each instant in a transaction of its own; units are W unless given."""
    if columns is None:
        names = dict.fromkeys(name for row in rows.values() for name in row)
        columns = [Column(name, "W") for name in names]
    register = SeriesRegister()
    with transaction(connection):
        series = register.resolve(connection, site.id, device, tuple(columns))
        wide = [
            (at_ms, *(row.get(column.quantity) for column in columns))
            for at_ms, row in rows.items()
        ]
        part = DeviceRows(site.id, series[0].device_id, series, wide)
        return write_rows(connection, {site.id: site.zone}, [part])


class PowerCutError(Exception):
    """Passes through a transaction, which must then undo everything."""


@contextmanager
def undone(connection: Connection) -> Iterator[None]:
    """Run a block in a transaction that fails at its end."""
    with suppress(PowerCutError), transaction(connection):
        yield
        raise PowerCutError
