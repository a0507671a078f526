"""Batches of readings in a database, and whether each came through a backup whole."""

from contextlib import closing
from pathlib import Path

from joulebook.core.spans import Span
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, write

#: Rows of a batch, and the time between them.
BATCH, STEP_MS = 50, 1000


def sound(_method: str, _result: bytes) -> str | None:
    return None


def batch(connection: Connection, site: Site, number: int) -> None:
    """Write a batch: its number is the value of all of its rows."""
    start_ms = NOON_MS + number * BATCH * STEP_MS
    rows = {start_ms + at * STEP_MS: {"power": float(number)} for at in range(BATCH)}
    write(connection, site, "battery", rows)


def batches(data_dir: Path) -> int:
    """Return how many batches a database holds; each must be whole, none be left out."""
    database = Database.open(data_dir)
    [site] = sites(database)
    with closing(database.connect()) as connection:
        span = Span(NOON_MS, NOON_MS + 10**9)
        readings = read_device(connection, site.id, "battery", span)
    database.close()
    values = [value for column in readings.values.values() for value in column.tolist()]
    count = len(values) // BATCH
    assert values == [float(number) for number in range(count) for _ in range(BATCH)]
    return count


def names(directory: Path) -> set[str]:
    return {file.name for file in directory.iterdir()}
