"""What a site is moved in: pieces that are read from both sides, compared, and written whole.

A piece is told as a mapping from where something is to what is there, so that a difference can be
named. Each is small enough for one transaction.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from joulebook.storage.hot_statements import upsert_newest
from joulebook.storage.moving_rows import put_rows, told_rows
from joulebook.storage.moving_sides import Side
from joulebook.storage.moving_tables import MovedTable
from joulebook.storage.reading import latest_readings

#: Where something is, and what is there: whatever can be compared.
Told = Mapping[str, object]


class Unit(Protocol):
    """A piece of a site."""

    @property
    def name(self) -> str:
        """What it is, in words; there is one of it."""

    def read(self, side: Side) -> Any:
        """Return what a side has, as both would tell it."""

    def told(self, content: Any) -> Told:
        """Return where what is, of what was read."""

    def write(self, side: Side, content: Any) -> None:
        """Have a side hold just this, in the caller's transaction."""


@dataclass(frozen=True, slots=True)
class Rows:
    """All rows of a table; ``marks`` is what places of marks stand for where they are written."""

    table: MovedTable
    marks: Sequence[int] = ()

    @property
    def name(self) -> str:
        """The table's."""
        return self.table.name

    def read(self, side: Side) -> list[tuple[Any, ...]]:
        """Return the rows."""
        return told_rows(side, self.table)

    def told(self, content: Any) -> Told:
        """Return the digest of each row, by its first value."""
        return {
            f"{self.table.name}, row {place} ({_shown(row[0])})": _digest(row)
            for place, row in enumerate(content, start=1)
        }

    def write(self, side: Side, content: Any) -> None:
        """Put the rows in the place of those that are there."""
        put_rows(side, self.table, content, marks=self.marks)


class LetGo:
    """How many messages were ever set aside, by reason; triggers count those that are kept."""

    name = "quarantine_sizes"

    def read(self, side: Side) -> list[tuple[str, int, int]]:
        """Return (reason, kept, let go)."""
        rows = side.connection.execute(
            """
            SELECT reason, kept, let_go
            FROM quarantine_sizes
            WHERE owner = ?
            ORDER BY reason
            """,
            (side.site_id,),
        )
        return [tuple(row) for row in rows]

    def told(self, content: Any) -> Told:
        """Return the numbers by reason."""
        return {f"{self.name}, {reason}": counts for reason, *counts in content}

    def write(self, side: Side, content: Any) -> None:
        """Take over what was let go; what is kept is counted by triggers as it comes."""
        side.connection.execute("DELETE FROM quarantine_sizes WHERE owner = ?", (side.site_id,))
        side.connection.executemany(
            """
            INSERT INTO quarantine_sizes (owner, reason, kept, kept_bytes, let_go)
            VALUES (?, ?, 0, 0, ?)
            """,
            [(side.site_id, reason, let_go) for reason, _, let_go in content],
        )


class Newest:
    """The newest reading of each series."""

    name = "newest"

    def read(self, side: Side) -> list[tuple[str, str, int, object]]:
        """Return (device, quantity, instant, value)."""
        return [
            (one.series.device, one.series.quantity, one.at_ms, one.value)
            for one in latest_readings(side.connection, side.site_id)
        ]

    def told(self, content: Any) -> Told:
        """Return instant and value by series."""
        return {
            f"{self.name}, {device}.{quantity}": (at_ms, repr(value))
            for device, quantity, at_ms, value in content
        }

    def write(self, side: Side, content: Any) -> None:
        """Put them in the place of those that are there."""
        side.connection.execute(
            """
            DELETE FROM newest
            WHERE series_id IN (
                SELECT series.id
                FROM series
                JOIN devices ON devices.id = device_id
                WHERE site_id = ?
            )
            """,
            (side.site_id,),
        )
        upsert_newest(
            side.connection,
            [
                (side.series[device, quantity], at_ms, value)
                for device, quantity, at_ms, value in content
            ],
        )


def differences(one: Told, other: Told) -> Iterator[str]:
    """Yield where two sides differ."""
    for where in dict.fromkeys((*one, *other)):
        if where not in other:
            yield f"{where}: not there"
        elif where not in one:
            yield f"{where}: there, and not at the source"
        elif one[where] != other[where]:
            yield f"{where}: differs"


def _digest(row: tuple[Any, ...]) -> bytes:
    return hashlib.sha256(repr(row).encode("utf-8", "surrogatepass")).digest()


def _shown(value: Any) -> str:
    return value.hex()[:12] if isinstance(value, bytes) else str(value)[:40]
