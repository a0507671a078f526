"""A site in one of two databases: what its numbers are called there, so that both can be compared.

What a row refers to is told by a name (a device), or by its place among those of the site (a
channel, an episode, an event, a mark): the numbers themselves differ.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection
from joulebook.storage.records import Series
from joulebook.storage.series import series_of
from joulebook.storage.site_facts import FACTS

_SITE = ("timezone", *FACTS)
#: What is told of a site in a comparison, beside the rows of its tables.
Facts = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Side:
    """A site in a database.

    Attributes
    ----------
    connection : Connection
    site_id, name : int, str
        ``name`` as it is stored: one that is being moved here has another until it is whole.
    devices : dict of str to int
        Ids by name.
    series : dict of (str, str) to Series
        By device and quantity.
    """

    connection: Connection
    site_id: int
    name: str
    devices: dict[str, int]
    series: dict[tuple[str, str], Series]

    def series_of(self, device: str) -> tuple[Series, ...]:
        """Return the series of a device, in the order of their slots."""
        return tuple(one for (name, _), one in self.series.items() if name == device)


def side_of(connection: Connection, name: str) -> Side | None:
    """Return the site of a stored name, ``None`` where there is none."""
    row = connection.execute("SELECT id FROM sites WHERE name = ?", (name,)).fetchone()
    if row is None:
        return None
    devices = connection.execute(
        "SELECT name, id FROM devices WHERE site_id = ? ORDER BY name", row
    ).fetchall()
    series = {(one.device, one.quantity): one for one in series_of(connection, row[0])}
    return Side(connection, row[0], name, dict(devices), series)


def the_side(connection: Connection, name: str) -> Side:
    """Return the site of a stored name.

    Raises
    ------
    UsageError
        If there is none.
    """
    side = side_of(connection, name)
    if side is None:
        raise UsageError(
            f"there is no site {name!r}",
            where="name",
            expected="a site that is there",
            next_step="check the name, and where it is looked for",
        )
    return side


def facts_told(side: Side) -> Facts:
    """Return what is said of the site itself."""
    row = side.connection.execute(
        f"SELECT {', '.join(_SITE)} FROM sites WHERE id = ?",  # noqa: S608 -- names of columns
        (side.site_id,),
    ).fetchone()
    return {name: plain(value) for name, value in zip(_SITE, row, strict=True)}


def put_site(connection: Connection, name: str, facts: Facts) -> None:
    """Make a site of a stored name with its facts, or give them to it; in a transaction."""
    columns, values = ", ".join(facts), tuple(facts.values())
    if connection.execute("SELECT 1 FROM sites WHERE name = ?", (name,)).fetchone() is None:
        marks = ", ".join("?" for _ in facts)
        connection.execute(
            f"INSERT INTO sites (name, {columns}) VALUES (?, {marks})",  # noqa: S608 -- the same
            (name, *values),
        )
        return
    given = ", ".join(f"{fact} = ?" for fact in facts)
    connection.execute(f"UPDATE sites SET {given} WHERE name = ?", (*values, name))  # noqa: S608 -- the same


def plain(value: Any) -> Any:
    """Return a value as both stores can keep it: dates as text, and no text with a NUL."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return value.replace("\0", "\\x00")
    return value


def called_on(side: Side, columns: tuple[str, ...]) -> dict[str, dict[int, Any]]:
    """Return what the numbers in some columns are called: by column, names by numbers."""
    called: dict[str, dict[int, Any]] = {}
    for column in columns:
        if column == "device_id":
            called[column] = {number: name for name, number in side.devices.items()}
        elif column in _PLACES:
            query = _PLACES[column]
            rows = side.connection.execute(query, {"site": side.site_id}).fetchall()
            called[column] = {number: place for place, (number,) in enumerate(rows)}
    return called


# Told by their places among those of the site, in the order in which they were made.
_PLACES = {
    "event_id": "SELECT id FROM events WHERE site_id = :site ORDER BY id",
    "channel_id": "SELECT id FROM alert_channels WHERE site_id = :site ORDER BY id",
    "about": "SELECT id FROM alert_episodes WHERE site_id = :site ORDER BY id",
    "mark": """
        SELECT mark FROM record_marks WHERE site_id = :site
        UNION
        SELECT mark FROM record_results WHERE site_id = :site
        ORDER BY mark
    """,
}
