"""Devices and series: which column of ``readings`` holds which quantity."""

from joulebook.storage.connections import Connection, require_transaction
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Column, Series
from joulebook.storage.slots import make_place

#: A device that reports more than this is a sender that makes up names. SQLite itself would
#: stop at 2000 columns.
MAX_SERIES = 512

#: A site with more devices than this has a sender that makes up names, too.
MAX_DEVICES = 1000

# So many sets of columns are remembered of a device, none of them larger: a sender that puts its
# quantities in ever another order would otherwise fill the memory. And of so many devices: those
# of ten thousand homes.
_MOST_SETS, _MOST_COLUMNS, _MOST_DEVICES = 8, 128, 65_536


class SeriesMismatch(Exception):  # noqa: N818 -- the message is refused, nothing failed
    """A column whose unit or kind is not the stored one of its series."""

    def __init__(self, column: Column, existing: Series) -> None:
        super().__init__(
            f"{existing.device}.{column.quantity} is stored as {existing.kind} [{existing.unit}], "
            f"not as {column.kind} [{column.unit}]"
        )
        self.column = column
        self.existing = existing


class TooManySeries(Exception):  # noqa: N818 -- the message is refused, nothing failed
    """A column that would give its device more series than a device can have."""

    def __init__(self, device: str, column: Column) -> None:
        super().__init__(f"{device} has {MAX_SERIES} quantities already: no place for {column}")
        self.column = column


class TooManyDevices(Exception):  # noqa: N818 -- the message is refused, nothing failed
    """A device that would be one more than a site can have."""

    def __init__(self, device: str) -> None:
        super().__init__(f"the site has {MAX_DEVICES} devices already: no place for {device}")


class SeriesRegister:
    """Finds series, and makes those that are missing. One for each writing connection.

    What it remembers never goes stale, for a series never changes once made. Only a rollback
    can take back what was just made: call :meth:`forget` after one.
    """

    def __init__(self) -> None:
        self._devices: dict[tuple[int, str], int] = {}
        self._resolved: dict[tuple[int, str], dict[tuple[Column, ...], tuple[Series, ...]]] = {}

    def forget(self) -> None:
        """Forget everything; the tables know it."""
        self._devices.clear()
        self._resolved.clear()

    def device_id(self, connection: Connection, site_id: int, device: str) -> int:
        """Return the device's id, made where it is missing, in the caller's transaction.

        Raises
        ------
        TooManyDevices
            If the site has no place for one more.
        """
        key = (site_id, device)
        if key not in self._devices:
            self._devices[key] = _device_id(connection, site_id, device)
        return self._devices[key]

    def resolve(
        self,
        connection: Connection,
        site_id: int,
        device: str,
        columns: tuple[Column, ...],
    ) -> tuple[Series, ...]:
        """Return the series of a device's columns, made where missing, in their order.

        Runs in the caller's transaction.

        Raises
        ------
        SeriesMismatch
            If a series has another unit or kind.
        TooManySeries, TooManyDevices
            If the device, or the site, has no place for one more.
        ValueError
            If a quantity comes twice.
        """
        sets = self._resolved.get((site_id, device), {})
        found = sets.get(columns)
        if found is None:
            device_id = self.device_id(connection, site_id, device)
            found = _resolve(connection, site_id, device_id, device, columns)
            if len(columns) <= _MOST_COLUMNS:
                self._remember(site_id, device, columns, found)
        return found

    def _remember(
        self, site_id: int, device: str, columns: tuple[Column, ...], found: tuple[Series, ...]
    ) -> None:
        if len(self._resolved) >= _MOST_DEVICES:
            self._resolved.clear()
        sets = self._resolved.setdefault((site_id, device), {})
        if len(sets) >= _MOST_SETS:
            sets.clear()
        sets[columns] = found


@names_faults
def devices_of(connection: Connection, site_id: int) -> frozenset[str]:
    """Return the names of all devices of a site."""
    rows = connection.execute("SELECT name FROM devices WHERE site_id = ?", (site_id,))
    return frozenset(name for (name,) in rows)


@names_faults
def series_of(connection: Connection, site_id: int) -> list[Series]:
    """Return all series of a site, by device and then in the order of their making."""
    rows = connection.execute(
        """
        SELECT series.id, devices.id, devices.name, quantity, unit, kind, slot
        FROM series
        JOIN devices ON devices.id = series.device_id
        WHERE devices.site_id = ?
        ORDER BY devices.name, slot
        """,
        (site_id,),
    )
    return [
        Series(series_id, site_id, device_id, device, quantity, unit, kind, slot)
        for series_id, device_id, device, quantity, unit, kind, slot in rows
    ]


def series_of_device(connection: Connection, device_id: int) -> list[Series]:
    """Return all series of a device, in the order of their making."""
    rows = connection.execute(
        """
        SELECT series.id, devices.site_id, devices.name, quantity, unit, kind, slot
        FROM series
        JOIN devices ON devices.id = series.device_id
        WHERE devices.id = ?
        ORDER BY slot
        """,
        (device_id,),
    )
    return [
        Series(series_id, site_id, device_id, device, quantity, unit, kind, slot)
        for series_id, site_id, device, quantity, unit, kind, slot in rows
    ]


@names_faults
def _device_id(connection: Connection, site_id: int, device: str) -> int:
    require_transaction(connection)
    key = (site_id, device)
    row = connection.execute(
        "SELECT id FROM devices WHERE site_id = ? AND name = ?", key
    ).fetchone()
    if row is None:
        (count,) = connection.execute(
            "SELECT count(*) FROM devices WHERE site_id = ?", (site_id,)
        ).fetchone()
        if count >= MAX_DEVICES:
            raise TooManyDevices(device)
        row = connection.execute(
            "INSERT INTO devices (site_id, name) VALUES (?, ?) RETURNING id", key
        ).fetchone()
    return int(row[0])


@names_faults
def _resolve(
    connection: Connection,
    site_id: int,
    device_id: int,
    device: str,
    columns: tuple[Column, ...],
) -> tuple[Series, ...]:
    require_transaction(connection)
    if len({column.quantity for column in columns}) < len(columns):
        raise ValueError(f"a quantity comes twice: {columns}")
    stored = {
        quantity: Series(series_id, site_id, device_id, device, quantity, unit, kind, slot)
        for series_id, quantity, unit, kind, slot in connection.execute(
            "SELECT id, quantity, unit, kind, slot FROM series WHERE device_id = ?", (device_id,)
        )
    }
    # All are checked before one is made: a refused message leaves no series behind.
    for column in columns:
        existing = stored.get(column.quantity)
        if existing is not None and (existing.unit, existing.kind) != (column.unit, column.kind):
            raise SeriesMismatch(column, existing)
    missing = [column for column in columns if column.quantity not in stored]
    for slot, column in enumerate(missing, start=len(stored)):
        if slot >= MAX_SERIES:
            raise TooManySeries(device, column)
    for slot, column in enumerate(missing, start=len(stored)):
        series_id = _make(connection, device_id, column, slot)
        stored[column.quantity] = Series(
            series_id, site_id, device_id, device, column.quantity, column.unit, column.kind, slot
        )
    return tuple(stored[column.quantity] for column in columns)


def _make(connection: Connection, device_id: int, column: Column, slot: int) -> int:
    make_place(connection, slot)
    row = connection.execute(
        """
        INSERT INTO series (device_id, quantity, unit, kind, slot)
        VALUES (?, ?, ?, ?, ?)
        RETURNING id
        """,
        (device_id, column.quantity, column.unit, column.kind, slot),
    ).fetchone()
    return int(row[0])
