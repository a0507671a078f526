"""A server's tables are the file's: a migration for one store alone is seen here."""

import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from joulebook.storage.database import Database
from tests.helpers.postgres import PostgresServer

pytestmark = pytest.mark.outside

#: What differs on purpose (docs/database.md, "On a server"): (only in a file, only on a server).
DIFFERENT = {
    "readings": ({f"v{slot}" for slot in range(16)}, {"numbers", "texts"}),
    "newest": ({"value"}, {"number", "text"}),
}
#: A file counts its marks in a table, a server has a sequence for them.
ONLY_IN_A_FILE = {"markings"}

Columns = dict[str, dict[str, bool]]


def file_columns(connection: sqlite3.Connection) -> Columns:
    """Return the columns of each table, and whether they may be missing."""
    rows = connection.execute(
        """
        SELECT tables.name, columns.name, NOT ("notnull" OR pk)
        FROM sqlite_schema AS tables, pragma_table_info(tables.name) AS columns
        WHERE tables.type = 'table' AND tables.name NOT LIKE 'sqlite_%'
        """
    )
    return _by_table(rows.fetchall())


def server_columns(connection: psycopg.Connection) -> Columns:
    rows = connection.execute(
        """
        SELECT table_name, column_name, is_nullable = 'YES'
        FROM information_schema.columns
        WHERE table_schema = 'public' AND table_name NOT LIKE 'blocks\\___'
        """
    )
    return _by_table(rows.fetchall())


def _by_table(rows: list[tuple[str, str, bool]]) -> Columns:
    found: Columns = {}
    for table, column, missing in rows:
        found.setdefault(table, {})[column] = bool(missing)
    return found


@pytest.fixture
def in_file(tmp_path: Path) -> sqlite3.Connection:
    Database.open(tmp_path).close()
    return sqlite3.connect(tmp_path / "joulebook.sqlite3")


def test_both_stores_have_the_same_columns(
    in_file: sqlite3.Connection, postgres: PostgresServer
) -> None:
    with closing(in_file), psycopg.connect(postgres.place().url) as server:
        file, there = file_columns(in_file), server_columns(server)
    for name in ONLY_IN_A_FILE:
        del file[name]
    for table, (only_file, only_server) in DIFFERENT.items():
        for column in only_file:
            del file[table][column]
        for column in only_server:
            del there[table][column]
    assert there == file


def test_both_stores_have_the_same_indexes(
    in_file: sqlite3.Connection, postgres: PostgresServer
) -> None:
    # Beside those that keys and UNIQUE make: a block's id is unique in a file, where a server's
    # partitions could only promise it for a device.
    with closing(in_file), psycopg.connect(postgres.place().url) as server:
        file = in_file.execute(
            "SELECT name FROM sqlite_schema WHERE name LIKE 'ix\\_%' ESCAPE '\\'"
        )
        there = server.execute(
            "SELECT relname FROM pg_class WHERE relname LIKE 'ix\\_%' AND NOT relispartition"
        )
        assert {name for (name,) in there} - {"ix_blocks_id"} == {name for (name,) in file}


def test_both_stores_refer_to_the_same_tables(
    in_file: sqlite3.Connection, postgres: PostgresServer
) -> None:
    with closing(in_file), psycopg.connect(postgres.place().url) as server:
        file = in_file.execute(
            """
            SELECT tables.name, "from", "table"
            FROM sqlite_schema AS tables, pragma_foreign_key_list(tables.name)
            WHERE tables.type = 'table'
            """
        )
        there = server.execute(
            """
            SELECT conrelid::regclass::text, attname, confrelid::regclass::text
            FROM pg_constraint
            JOIN pg_attribute ON attrelid = conrelid AND attnum = conkey[1]
            WHERE contype = 'f' AND conparentid = 0
            """
        )
        assert set(there.fetchall()) == set(file.fetchall())
