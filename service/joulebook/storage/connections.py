"""Connections to the database, and the one way to write through them.

A SQLite file has one writer at a time, and a PostgreSQL server has locks that say who may write
beside whom: here both keep one promise.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy
from sqlalchemy import Engine, create_engine, event
from sqlalchemy.pool import NullPool

from joulebook.storage.faults import naming_faults
from joulebook.storage.stores import Connection, ServerConnection, listed, newest_id, on_server

__all__ = [
    "Connection",
    "ServerConnection",
    "catalogue_engine",
    "joined",
    "joined_snapshot",
    "listed",
    "newest_id",
    "on_server",
    "open_connection",
    "require_transaction",
    "transaction",
    "turn",
    "wait_for_nobody",
]

#: How long a writer waits for another one before it gives up. [s]
BUSY_TIMEOUT_S = 30.0

# A write-ahead log that has grown during a long import shrinks back to this. [bytes]
_LOG_LIMIT = 64 * 1024 * 1024


def open_connection(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Open a connection that leaves transactions to us and whose commits are on disk.

    Raises
    ------
    StorageUnavailableError
        If the file is not there (unless ``create``) or may not be opened.
    """
    mode = "rwc" if create else "rw"
    with naming_faults(path):
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=BUSY_TIMEOUT_S,
            isolation_level=None,
            cached_statements=512,
        )
        try:
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute(f"PRAGMA journal_size_limit = {_LOG_LIMIT}")
        except sqlite3.Error:
            connection.close()
            raise
    return connection


@contextmanager
def transaction(connection: Connection, sites: Iterable[int] | None = None) -> Iterator[None]:
    """Write all of what follows, or nothing of it; on disk by the time it ends.

    What is read inside stays true until the commit although others may write to the same
    database: the write lock is taken at the start. A file has one; a server has one for each
    group of sites, and who does not name ``sites`` waits for all of them.

    Parameters
    ----------
    sites : iterable of int, optional
        The sites (ids) that this writes to, and reads of in order to write: nothing else.

    Raises
    ------
    StorageUnavailableError
        If the disk is full, the database locked for too long, read-only or away. Nothing was
        written, unless a server went away in the very moment of the commit.
    """
    if connection.in_transaction:
        raise RuntimeError("a transaction is open already; joined() takes part in it")
    if on_server(connection):
        with connection.writing(sites):
            yield
        return
    with naming_faults(connection):
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            connection.execute("COMMIT")
        finally:
            # After some faults, a full disk among them, SQLite has rolled back by itself.
            if connection.in_transaction:
                connection.execute("ROLLBACK")


@contextmanager
def joined(connection: Connection, sites: Iterable[int] | None = None) -> Iterator[None]:
    """Take part in the caller's transaction, or open one of our own where there is none."""
    if connection.in_transaction:
        yield
    else:
        with transaction(connection, sites):
            yield


@contextmanager
def joined_snapshot(connection: Connection) -> Iterator[None]:
    """Read all inside as of one commit: the caller's transaction, or one that only reads.

    Between two reads outside of it, rows may be sealed: they would be seen twice or never.
    """
    if connection.in_transaction:
        yield
        return
    if on_server(connection):
        with connection.reading():
            yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        # After some faults SQLite has ended it by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK")


@contextmanager
def turn(connection: Connection, what: str, key: int) -> Iterator[bool]:
    """Take the turn at something, if nobody has it; tell whether it is ours until the block ends.

    Among services on one server. A file has one service, and there it is always ours. A turn
    keeps nobody from writing, and ends with a process that dies.
    """
    if on_server(connection):
        with connection.alone(what, key) as is_ours:
            yield is_ours
    else:
        yield True


def wait_for_nobody(connection: Connection) -> None:
    """Let what follows on this connection fail at once where somebody else holds the lock."""
    if on_server(connection):
        connection.wait_for_nobody()
    else:
        connection.execute("PRAGMA busy_timeout = 0")


def require_transaction(connection: Connection) -> None:
    """Raise where statements would be committed one by one.

    Also after a fault upon which SQLite rolled back by itself: a caller that caught it and
    carried on would otherwise write the rest of its batch outside of any transaction.
    """
    if not connection.in_transaction:
        raise RuntimeError("this writes only inside a transaction")


def require_all_out(connection: Connection) -> None:
    """Raise where others may write to other sites meanwhile.

    For what writes to rows of several sites in any order: two who do may wait for each other.
    """
    require_transaction(connection)
    if on_server(connection) and not connection.keeps_all_out:
        raise RuntimeError("this writes only in a transaction that names no sites")


def catalogue_engine(path: Path) -> Engine:
    """Return an SQLAlchemy engine on the file, with transactions that hold DDL too.

    Python's driver begins no transaction for DDL, and Alembic over it left half of a failed
    migration behind; so the driver leaves transactions to us and we begin them. With the
    execution option ``reads=True`` a transaction takes no write lock.
    """
    # A connection for each use: threads share none, and the catalogue is asked seldom.
    engine = create_engine(
        "sqlite://",
        creator=lambda: open_connection(path),
        poolclass=NullPool,
        hide_parameters=True,  # its errors end in the log, and values may be anybody's
    )

    @event.listens_for(engine, "begin")
    def begin(connection: sqlalchemy.Connection) -> None:
        reads = connection.get_execution_options().get("reads", False)
        connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

    return engine
