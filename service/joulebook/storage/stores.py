"""What connections to either store can do: a SQLite file, or a PostgreSQL server.

Storage writes the SQL that both understand; where they differ, it asks :func:`on_server`.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, Protocol, TypeGuard


class Cursor(Protocol):
    """What a statement gave back."""

    @property
    def rowcount(self) -> int:
        """How many rows it changed."""

    def fetchone(self) -> Any:
        """Return the next row, ``None`` after the last."""

    def fetchall(self) -> list[Any]:
        """Return all further rows."""

    def __iter__(self) -> Iterator[Any]:
        """Return an iterator over all further rows."""


class Connection(Protocol):
    """A connection to either store; of one thread at a time. Values only as ``?`` or ``:name``."""

    @property
    def in_transaction(self) -> bool:
        """Whether a transaction is open."""

    def execute(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] = ..., /) -> Cursor:
        """Run a statement."""

    def executemany(self, sql: str, parameters: Iterable[Sequence[Any]], /) -> Cursor:
        """Run a statement for each row of values."""

    def close(self) -> None:
        """Give it back."""


class ServerConnection(Connection, Protocol):
    """What only a server's connection can do.

    Attributes
    ----------
    address : str
        Of the server, without the password.
    """

    address: str

    @property
    def keeps_all_out(self) -> bool:
        """Whether nobody else writes to anything until the open transaction ends."""

    def writing(self, sites: Iterable[int] | None) -> AbstractContextManager[None]:
        """Hold a transaction that writes; see :func:`transaction`."""

    def reading(self) -> AbstractContextManager[None]:
        """Hold a transaction that reads all as of one commit."""

    def wait_for_nobody(self) -> None:
        """Give up at once where a lock is taken, until the connection is given back."""

    def copy_rows(
        self, statement: str, types: Sequence[str], rows: Iterable[Sequence[Any]]
    ) -> None:
        """Send rows in bulk: a ``COPY … FROM STDIN`` and the types of its columns."""

    def alone(self, name: str, key: int) -> AbstractContextManager[bool]:
        """Try to be the only one at something; tell whether nobody else is at it."""


def on_server(connection: Connection) -> TypeGuard[ServerConnection]:
    """Tell whether a connection is one to PostgreSQL."""
    return not isinstance(connection, sqlite3.Connection)


def listed(connection: Connection, values: Sequence[int] | Sequence[str]) -> tuple[str, object]:
    """Return how a statement names any number of values after ``IN``, and the value for it."""
    if on_server(connection):
        if not values:
            return "(?)", None  # of any type, and equal to nothing
        kind = "text" if isinstance(values[0], str) else "bigint"
        return f"(SELECT unnest(?::{kind}[]))", list(values)
    return "(SELECT value FROM json_each(?))", json.dumps(list(values))


def newest_id(connection: Connection) -> int:
    """Return the id of the row that this connection has just added, seen or not."""
    last = "lastval()" if on_server(connection) else "last_insert_rowid()"
    return int(connection.execute(f"SELECT {last}").fetchone()[0])
