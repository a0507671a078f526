"""A database that a measurement fills and takes away again: empty before, and empty after."""

from contextlib import closing
from pathlib import Path

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, on_server
from joulebook.storage.database import Database, ServerPlace

_TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema() ORDER BY tablename"

# Named all at once, before the first of them goes and takes others along.
_DROP = """
    DO $$
    DECLARE
        things TEXT[];
        each TEXT;
    BEGIN
        SELECT array_agg(thing) INTO things FROM (
            SELECT format('TABLE IF EXISTS %I', relname) FROM pg_class
            WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'p')
            UNION ALL
            SELECT format('SEQUENCE IF EXISTS %I', relname) FROM pg_class
            WHERE relnamespace = current_schema()::regnamespace AND relkind = 'S'
            UNION ALL
            SELECT format('FUNCTION IF EXISTS %s', oid::regprocedure) FROM pg_proc
            WHERE pronamespace = current_schema()::regnamespace
            UNION ALL
            SELECT format('DOMAIN IF EXISTS %I', typname) FROM pg_type
            WHERE typnamespace = current_schema()::regnamespace AND typtype = 'd'
        ) AS found (thing);
        FOREACH each IN ARRAY coalesce(things, '{}') LOOP
            EXECUTE 'DROP ' || each || ' CASCADE';
        END LOOP;
    END
    $$
"""


def require_empty(data_dir: Path, place: ServerPlace) -> None:
    """Raise where a server's database holds anything.

    Raises
    ------
    UsageError
        If it has a table, of ours or of somebody else.
    StorageUnavailableError
        If the server is away.
    """
    database = Database(data_dir, place)
    try:
        with closing(database.connect()) as connection:
            names = [name for (name,) in connection.execute(_TABLES)]
    finally:
        database.close()
    if names:
        raise UsageError(
            f"this database is not empty: it has {len(names)} tables, {names[0]} first",
            where=database.where,
            expected="an empty database, which is filled and emptied several times",
            next_step="make one with createdb for this alone, and name it",
        )


def drop_everything(database: Database) -> None:
    """Take away all that stands in a server's database. Only where it was empty before."""
    with closing(database.connect()) as connection:
        connection.execute(_DROP)


def used_bytes(connection: Connection) -> int:
    """Return what all tables take on the disk with their indexes; free pages of a file left out.

    Hot rows are not in it once they are sealed: on a server their table keeps its size then, for
    the next ones.
    """
    if on_server(connection):
        sql = """
            SELECT sum(pg_total_relation_size(oid)) FROM pg_class
            WHERE relnamespace = current_schema()::regnamespace AND relkind = 'r'
                AND (relname <> 'readings' OR EXISTS (SELECT 1 FROM readings))
        """
    else:
        sql = """
            SELECT (page_count - freelist_count) * page_size
            FROM pragma_page_count, pragma_freelist_count, pragma_page_size
        """
    (size,) = connection.execute(sql).fetchone()
    return int(size)


def log_bytes(connection: Connection) -> int | None:
    """Return how much a server has written to its log since it was made; ``None`` of a file."""
    if not on_server(connection):
        return None
    sql = "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')"
    (written,) = connection.execute(sql).fetchone()
    return int(written)


def tidy(connection: Connection) -> None:
    """Take away what deleted rows have left on a server, as it does by itself later on."""
    if on_server(connection):
        connection.execute("VACUUM (ANALYZE)")


def shrink_whole(connection: Connection) -> None:
    """Write all tables of a server anew, without the room that later rows would have used."""
    if on_server(connection):
        connection.execute("VACUUM (FULL)")


def told_of_store(connection: Connection) -> dict[str, str]:
    """Return which store this is and how its commits reach the disk."""
    if not on_server(connection):
        (level,) = connection.execute("PRAGMA synchronous").fetchone()
        return {"store": "SQLite file", "synchronous": {2: "FULL"}.get(level, str(level))}
    names = ("server_version", "fsync", "synchronous_commit", "full_page_writes", "shared_buffers")
    told = {name: connection.execute(f"SHOW {name}").fetchone()[0] for name in names}
    return {"store": "PostgreSQL server", **told}
