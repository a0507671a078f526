"""Connections to the database file, and the one way to write through them."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from joulebook.storage.faults import naming_faults

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
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Write all of what follows, or nothing of it; on disk by the time it ends.

    The write lock is taken at the start, so what is read inside stays true until the commit
    although another process may write to the same file.

    Raises
    ------
    StorageUnavailableError
        If the disk is full, the file locked for too long, or read-only. Nothing was written.
    """
    if connection.in_transaction:
        raise RuntimeError("a transaction is open already; joined() takes part in it")
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
def joined(connection: sqlite3.Connection) -> Iterator[None]:
    """Take part in the caller's transaction, or open one of our own where there is none."""
    if connection.in_transaction:
        yield
    else:
        with transaction(connection):
            yield


@contextmanager
def joined_snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """Read all inside as of one commit: the caller's transaction, or one that only reads.

    Between two reads outside of it, rows may be sealed: they would be seen twice or never.
    """
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        # After some faults SQLite has ended it by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def require_transaction(connection: sqlite3.Connection) -> None:
    """Raise where statements would be committed one by one.

    Also after a fault upon which SQLite rolled back by itself: a caller that caught it and
    carried on would otherwise write the rest of its batch outside of any transaction.
    """
    if not connection.in_transaction:
        raise RuntimeError("this writes only inside a transaction")


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
    def begin(connection: Connection) -> None:
        reads = connection.get_execution_options().get("reads", False)
        connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

    return engine
