"""What a statement costs in either store, told by no clock."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from joulebook.storage.connections import ServerConnection, on_server
from joulebook.storage.database import Connection

#: How SQLite names a table that it reads by an index.
_BY_INDEX = re.compile(r"(?:SCAN|SEARCH) (\w+) USING (?:COVERING )?INDEX (\w+)")
#: What a server does beside reading: the last sorts only rows of the very same instant.
_PASSING = {"Limit", "Incremental Sort"}


def steps_of(connection: Connection, sql: str) -> list[str]:
    """Return what a store reads for a query, as ``table by index``, and all else that it does.

    A server is asked what it can do by its indexes: of a table with few rows it would read all.
    """
    if not on_server(connection):
        plan = connection.execute(f"EXPLAIN QUERY PLAN {sql}").fetchall()
        return [_BY_INDEX.sub(r"\1 by \2", row[3]).split(" (")[0] for row in plan]
    _prefer_indexes(connection)
    ((document,),) = connection.execute(f"EXPLAIN (FORMAT JSON) {sql}").fetchall()
    return [step for step in _nodes(document[0]["Plan"]) if step not in _PASSING]


def _prefer_indexes(connection: ServerConnection) -> None:
    for way in ("seqscan", "bitmapscan", "sort"):
        connection.execute(f"SET enable_{way} = off")


def _nodes(node: dict[str, Any]) -> Iterator[str]:
    index = node.get("Index Name")
    yield node["Node Type"] if index is None else f"{node['Relation Name']} by {index}"
    for child in node.get("Plans", ()):
        yield from _nodes(child)


@contextmanager
def counted_steps(connection: Connection) -> Iterator[list[int]]:
    """Count in a block the steps of SQLite's machine, or the rows and entries a server read."""
    steps = [0]
    if on_server(connection):
        _prefer_indexes(connection)
        if not connection.in_transaction:
            # Else it depends on when the server last looked at its tables by itself.
            connection.execute("ANALYZE")
        before = _rows_read(connection)
        yield steps
        steps[0] = _rows_read(connection) - before
        return
    assert isinstance(connection, sqlite3.Connection)

    def step() -> int:
        steps[0] += 1
        return 0

    connection.set_progress_handler(step, 1)
    try:
        yield steps
    finally:
        connection.set_progress_handler(None, 0)


def _rows_read(connection: ServerConnection) -> int:
    """Return how many rows of tables and entries of indexes were read, by this transaction too.

    See "The Cumulative Statistics System" of the server's manual: what a transaction counts is
    added to what all did when it is over, at once where that is asked for.
    """
    kind = "xact_" if connection.in_transaction else ""
    if not connection.in_transaction:
        connection.execute("SELECT pg_stat_force_next_flush()")
    ((count,),) = connection.execute(
        f"""
        SELECT sum(pg_stat_get_{kind}tuples_returned(oid))
        FROM pg_class
        WHERE relkind IN ('r', 'i') AND relnamespace = 'public'::regnamespace
        """
    ).fetchall()
    return int(count)
