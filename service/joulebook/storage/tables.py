"""What a database itself tells of its tables, in either store."""

from joulebook.storage.connections import Connection, on_server

# A server's own lists ("System Catalogs" of its manual); tables in the order of their making.
_SERVER_TABLES = """
    SELECT relname
    FROM pg_class
    WHERE relkind IN ('r', 'p') AND NOT relispartition
        AND relnamespace = current_schema()::regnamespace
    ORDER BY oid
"""
_SERVER_COLUMNS = """
    SELECT attname
    FROM pg_attribute
    WHERE attrelid = to_regclass(?) AND attnum > 0 AND NOT attisdropped
    ORDER BY attnum
"""
_SERVER_KEY = """
    SELECT attname
    FROM pg_index
    JOIN pg_attribute ON attrelid = indrelid AND attnum = ANY (indkey)
    WHERE indrelid = to_regclass(?) AND indisprimary
    ORDER BY array_position(indkey, attnum)
"""
_SERVER_PARENTS = """
    SELECT attname, confrelid::regclass::text
    FROM pg_constraint
    JOIN pg_attribute ON attrelid = conrelid AND attnum = conkey[1]
    WHERE conrelid = to_regclass(?) AND contype = 'f'
    ORDER BY attnum
"""


def table_names(connection: Connection) -> list[str]:
    """Return the names of all tables; one in partitions is one."""
    if on_server(connection):
        rows = connection.execute(_SERVER_TABLES)
    else:
        rows = connection.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        )
    return [name for (name,) in rows]


def has_table(connection: Connection, name: str) -> bool:
    """Return whether the database has a table; those of earlier versions lack some."""
    return name in table_names(connection)


def column_names(connection: Connection, table: str) -> list[str]:
    """Return the names of a table's columns, in order."""
    sql = _SERVER_COLUMNS if on_server(connection) else "SELECT name FROM pragma_table_info(?)"
    return [name for (name,) in connection.execute(sql, (table,))]


def key_of(connection: Connection, table: str) -> str:
    """Return what tells a table's rows apart: its key, or the rowid that a file's tables have."""
    if on_server(connection):
        keys = connection.execute(_SERVER_KEY, (table,)).fetchall()
    else:
        (sql,) = connection.execute(
            "SELECT sql FROM sqlite_schema WHERE type = 'table' AND name = ?", (table,)
        ).fetchone()
        if "WITHOUT ROWID" not in sql.upper():
            return "rowid"
        keys = connection.execute(
            "SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk", (table,)
        ).fetchall()
    return ", ".join(name for (name,) in keys)


def parents_of(connection: Connection, table: str) -> list[tuple[str, str]]:
    """Return a table's columns that are declared to refer to others' ids, and to which tables."""
    if on_server(connection):
        return connection.execute(_SERVER_PARENTS, (table,)).fetchall()
    return connection.execute(
        'SELECT "from", "table" FROM pragma_foreign_key_list(?)', (table,)
    ).fetchall()


def bytes_of(connection: Connection, column: str) -> str:
    """Return the expression for a column's bytes, whatever a damaged file holds there."""
    return column if on_server(connection) else f"CAST({column} AS BLOB)"
