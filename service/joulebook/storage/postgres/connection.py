"""A connection to PostgreSQL that takes the statements which storage writes for both stores."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import lru_cache
from typing import Any

import psycopg
from psycopg import ClientCursor, pq

from joulebook.storage.narrowing import Narrowing
from joulebook.storage.postgres.faults import naming_server_faults
from joulebook.storage.postgres.pool import Pool, raw_of

#: Names our locks among those of others on the same server: "joul".
LOCKS = 0x6A6F756C

#: Locks of groups of sites. A lock for each site would be more than a server remembers in one
#: transaction that takes in the messages of ten thousand.
GROUPS = 64

# Not the two colons that PostgreSQL writes before a type.
_NAMED = re.compile(r"(?<![:\w]):([a-z_]+)")

_OPEN = (pq.TransactionStatus.INTRANS, pq.TransactionStatus.INERROR)

_LOCK_ALL = "SELECT pg_advisory_xact_lock(%s, 0)"
_LOCK_GROUPS = """
    SELECT pg_advisory_xact_lock_shared(%s, 0)
    UNION ALL
    SELECT pg_advisory_xact_lock(%s, number)
    FROM unnest(%s::integer[]) AS number
"""


class PostgresConnection:
    """One of a pool's connections; of one thread at a time.

    A statement's values stand in its text when it is sent: so none needs its type said, as a
    value that may be missing would. Between transactions a connection that broke is replaced.

    Parameters
    ----------
    narrowing : Narrowing or None
        Whose rows it may see until it is given back; ``None`` is everybody's.
    """

    def __init__(self, pool: Pool, address: str, narrowing: Narrowing | None = None) -> None:
        self._pool = pool
        self._narrowing = narrowing
        self.address = address
        with naming_server_faults(address):
            self._lent = pool.lend(narrowing)
        self._raw = raw_of(self._lent)
        self._held = False
        self._keeps_all_out = False

    @property
    def keeps_all_out(self) -> bool:
        """Whether nobody else writes to anything until the open transaction ends."""
        return self._keeps_all_out

    @property
    def in_transaction(self) -> bool:
        """Whether a transaction is open; one too that has failed, or whose connection broke."""
        return self._held

    def execute(
        self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] = (), /
    ) -> psycopg.Cursor[Any]:
        """Run a statement with ``?`` or ``:name`` for values."""
        with naming_server_faults(self.address):
            cursor = ClientCursor(self._live())
            return cursor.execute(translated(sql), parameters)

    def executemany(self, sql: str, parameters: Iterable[Sequence[Any]], /) -> psycopg.Cursor[Any]:
        """Run a statement for each row of values, without waiting for each answer."""
        with naming_server_faults(self.address):
            cursor = psycopg.Cursor(self._live())
            cursor.executemany(translated(sql), parameters)
            return cursor

    def copy_rows(
        self, statement: str, types: Sequence[str], rows: Iterable[Sequence[Any]]
    ) -> None:
        """Send rows in bulk: a ``COPY … FROM STDIN (FORMAT BINARY)`` and the columns' types."""
        with naming_server_faults(self.address):
            cursor = psycopg.Cursor(self._live())
            with cursor.copy(statement) as copy:
                copy.set_types(types)
                for row in rows:
                    copy.write_row(row)

    @contextmanager
    def writing(self, sites: Iterable[int] | None) -> Iterator[None]:
        """Hold a transaction that writes to some sites, or (``None``) to anything."""
        groups = None if sites is None else sorted({1 + site % GROUPS for site in sites})
        with self._transaction("BEGIN"):
            with naming_server_faults(self.address):
                if groups is None:
                    self._raw.execute(_LOCK_ALL, (LOCKS,))
                else:
                    self._raw.execute(_LOCK_GROUPS, (LOCKS, LOCKS, groups))
            self._keeps_all_out = groups is None
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Hold a transaction that reads all as of one commit."""
        with self._transaction("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"):
            yield

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        with naming_server_faults(self.address):
            self._live().execute(begin)
        self._held = True
        try:
            yield
            with naming_server_faults(self.address):
                self._raw.execute("COMMIT")
        finally:
            self._held = self._keeps_all_out = False
            if self._raw.info.transaction_status in _OPEN:
                # Where the server has gone away there is nothing to take back, and the error that
                # is under way says more.
                with suppress(psycopg.Error):
                    self._raw.execute("ROLLBACK")

    @contextmanager
    def alone(self, name: str, key: int) -> Iterator[bool]:
        """Try to be the only one at something; it ends with the block, or the connection."""
        asked = (f"joulebook {name}", key)
        lock = "pg_try_advisory_lock(hashtext(?), ?)"
        (got,) = self.execute(f"SELECT {lock}", asked).fetchone() or (False,)
        try:
            yield got
        finally:
            if got and not self._raw.closed:
                self.execute("SELECT pg_advisory_unlock(hashtext(?), ?)", asked)

    def wait_for_nobody(self) -> None:
        """Give up at once where a lock is taken, until the connection is given back."""
        self.execute("SET lock_timeout = 1")

    def close(self) -> None:
        """Give the connection back to its pool; what was not committed is rolled back."""
        self._pool.give_back(self._lent)

    def _live(self) -> psycopg.Connection[Any]:
        """Return the connection, or another one where it broke outside of a transaction.

        Within one another would know nothing of it, and commit what follows by itself.
        """
        if self._raw.closed and not self._held:
            self._pool.give_back(self._lent)
            self._lent = self._pool.lend(self._narrowing)
            self._raw = raw_of(self._lent)
        return self._raw


@lru_cache(maxsize=4096)
def translated(sql: str) -> Any:
    """Return a statement with the driver's placeholders: ``%s`` for ``?``, ``%(x)s`` for ``:x``.

    No statement of ours has a question mark or a colon in a literal.
    """
    return _NAMED.sub(r"%(\1)s", sql.replace("%", "%%").replace("?", "%s"))
