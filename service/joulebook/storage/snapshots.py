"""Several reads of one and the same state of the database."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from joulebook.storage.faults import naming_faults


@contextmanager
def snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """Let all reads of the block see one commit, whatever is written meanwhile.

    It makes nobody wait, but the write-ahead log grows until it ends.
    """
    with naming_faults(connection):
        connection.execute("BEGIN")
        try:
            connection.execute(
                "SELECT 1 FROM sqlite_schema"
            ).fetchone()  # BEGIN alone fixes nothing
            yield
        finally:
            connection.rollback()  # nothing to do where SQLite did it upon a fault
