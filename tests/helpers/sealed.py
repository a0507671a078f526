"""Days of readings to be sealed, and what is in the tables afterwards."""

from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site, Value, Written
from tests.helpers.databases import write

DAY_MS = 86_400_000
#: 2026-03-02T00:00:00Z, a Monday: here an ISO week begins. [ms, UTC epoch]
MONDAY_MS = 1_772_409_600_000
#: The sealing of these days' tests takes place then: all of them are old, no week is. [ms]
LATER_MS = MONDAY_MS + 10 * DAY_MS
#: And here the weeks are old too. [ms]
MUCH_LATER_MS = MONDAY_MS + 40 * DAY_MS


def write_days(
    connection: Connection, site: Site, days: range, device: str = "battery", rows: int = 24
) -> Written:
    """Write some rows for each day, counted from that Monday; their power is their number."""
    step_ms = DAY_MS // rows
    values: dict[int, dict[str, Value]] = {
        MONDAY_MS + DAY_MS * day + step_ms * row: {"power": float(day * rows + row), "soc": 0.5}
        for day in days
        for row in range(rows)
    }
    return write(connection, site, device, values)


def power(connection: Connection, site: Site, device: str = "battery") -> dict[int, float]:
    """Return all powers of a device by their instants."""
    whole = Span(MONDAY_MS - 100 * DAY_MS, MONDAY_MS + 100 * DAY_MS)
    readings = read_device(connection, site.id, device, whole, quantities=["power"])
    return dict(zip(readings.at_ms.tolist(), readings.values["power"].tolist(), strict=True))


def periods(connection: Connection) -> list[tuple[float, float]]:
    """Return the blocks' periods in days since that Monday, in order."""
    rows = connection.execute("SELECT start_ms, end_ms FROM blocks ORDER BY start_ms, device_id")
    return [((start - MONDAY_MS) / DAY_MS, (end - MONDAY_MS) / DAY_MS) for start, end in rows]


def hot_rows(connection: Connection) -> int:
    """Return how many rows are not sealed."""
    (count,) = connection.execute("SELECT count(*) FROM readings").fetchone()
    return int(count)
