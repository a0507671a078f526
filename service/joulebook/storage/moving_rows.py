"""Rows of a site told as both databases would tell them, and made of what was told."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from joulebook.errors import DataRefusedError
from joulebook.storage.connections import require_transaction
from joulebook.storage.marking import next_mark
from joulebook.storage.moving_sides import Side, called_on, plain
from joulebook.storage.moving_tables import MovedTable
from joulebook.storage.quarantine import digest_of

Row = tuple[Any, ...]

#: Why something that waited to be told at the source is not told by the target.
HELD = "moved while it waited: told from where the site was, if at all"

_EPISODE = re.compile(r"episode (\d+) (\w+)")
# A file keeps them as 0 and 1, and may keep bytes as text.
_FLAGS = frozenset({"is_on", "is_open", "dangerous_anyway"})
_BYTES = frozenset({"result", "payload", "digest", "hash", "secret_sha256", "jpeg"})
_OF_SITE = {
    "site": "site_id = ?",
    "name": "site = ?",
    "device": "device_id IN (SELECT id FROM devices WHERE site_id = ?)",
    "channel": "channel_id IN (SELECT id FROM alert_channels WHERE site_id = ?)",
}


def told_rows(side: Side, table: MovedTable) -> list[Row]:
    """Return a table's rows of a site, told alike by both sides, in the order of their making."""
    columns = ", ".join(table.columns)
    rows = side.connection.execute(
        f"SELECT {columns} FROM {table.name} WHERE {_OF_SITE[table.owner]} ORDER BY {table.order}",  # noqa: S608 -- names of ours
        (_owner(side, table),),
    ).fetchall()
    called = called_on(side, table.columns)
    told = [
        tuple(
            _told(column, value, called) for column, value in zip(table.columns, row, strict=True)
        )
        for row in rows
    ]
    if table.name == "alert_deliveries":
        return [_held(table, row) for row in told]
    # Devices have no order of their own that both sides share, but their names.
    return sorted(told) if table.owner == "device" else told


def put_rows(
    side: Side, table: MovedTable, rows: Sequence[Row], *, marks: Sequence[int] = ()
) -> None:
    """Have a table hold just these rows of a site, in the caller's transaction.

    Parameters
    ----------
    marks : sequence of int
        What the places of marks stand for here.
    """
    connection = side.connection
    require_transaction(connection)
    connection.execute(
        f"DELETE FROM {table.name} WHERE {_OF_SITE[table.owner]}",  # noqa: S608 -- names of ours
        (_owner(side, table),),
    )
    numbered = {
        column: {name: number for number, name in names.items()}
        for column, names in called_on(side, table.columns).items()
    }
    numbered["mark"] = dict(enumerate(marks))
    added = _added(side, table)
    columns = ", ".join((*added, *table.columns))
    places = ", ".join("?" for _ in (*added, *table.columns))
    connection.executemany(
        f"INSERT INTO {table.name} ({columns}) VALUES ({places})",  # noqa: S608 -- the same
        [
            (
                *_beside(side, table, row, added),
                *(
                    _stored(column, value, numbered)
                    for column, value in zip(table.columns, row, strict=True)
                ),
            )
            for row in rows
        ],
    )


def _owner(side: Side, table: MovedTable) -> int | str:
    return side.name if table.owner == "name" else side.site_id


def _added(side: Side, table: MovedTable) -> dict[str, Any]:
    """Return the columns that are not told, and what they hold here."""
    added: dict[str, Any] = {}
    if table.owner == "site":
        added["site_id"] = side.site_id
    if table.owner == "name":
        added["site"] = side.name
    if table.marked:
        added["mark"] = next_mark(side.connection)
    if table.name == "quarantine":
        added["digest"] = None
    return added


def _beside(side: Side, table: MovedTable, row: Row, added: dict[str, Any]) -> list[Any]:
    """Return what the columns that are not told hold in a row."""
    if "digest" not in added:
        return list(added.values())
    message = dict(zip(table.columns, row, strict=True))
    parts = (message[part] for part in ("source", "topic", "reason", "payload"))
    # By which a repeat is known: it is of the site's number.
    return list((added | {"digest": digest_of(side.site_id, *parts)}).values())


def _told(column: str, value: Any, called: dict[str, dict[int, Any]]) -> Any:
    if column in _FLAGS:
        return bool(value)
    if column in _BYTES:
        return value.encode() if isinstance(value, str) else value
    if column == "about":
        return about_told(value, called[column])
    if column in called and value not in called[column]:
        raise DataRefusedError(
            f"a row refers to what is not there: {column} {value}",
            where="the rows of a site",
            expected="a device, channel, event or mark of the site",
            next_step="look at the database with `joulebook verify`",
        )
    return called[column][value] if column in called else plain(value)


def _stored(column: str, value: Any, numbered: dict[str, dict[Any, int]]) -> Any:
    if column == "about":
        return about_stored(value, numbered[column])
    return numbered[column][value] if column in numbered else value


def about_told(about: str, places: Mapping[int, int]) -> str:
    """Return what a delivery is about, with the episode's place in the place of its number."""
    found = _EPISODE.fullmatch(about)
    if found is None:
        return about
    place = places.get(int(found[1]))
    # Of an episode that is gone: another one may get its number elsewhere.
    return f"earlier {about}" if place is None else f"episode {place} {found[2]}"


def about_stored(about: str, numbers: Mapping[int, int]) -> str:
    """Return the opposite of `about_told`."""
    found = _EPISODE.fullmatch(about)
    return about if found is None else f"episode {numbers[int(found[1])]} {found[2]}"


def _held(table: MovedTable, row: Row) -> Row:
    """Return a delivery as it is moved: nothing is told twice, so what waits stays behind."""
    told = dict(zip(table.columns, row, strict=True))
    if told["state"] in ("waiting", "sending"):
        told |= {"state": "unknown", "trouble": HELD, "next_ms": 0}
    return tuple(told.values())
