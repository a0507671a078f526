"""Brings a server's database to the schema that this version knows, or refuses it untouched."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import ProgrammingError

from joulebook.errors import SchemaError, UsageError
from joulebook.storage.faults import StorageUnavailableError, naming_faults
from joulebook.storage.schema import newest_schema

#: The schema that the files of tables make; what came later is in migrations, for both stores.
FIRST = "0014"

_NO_RIGHT = "42501"  # insufficient_privilege

_FILES = ("tables_readings.sql", "tables_said.sql", "rules.sql")


def prepare(engine: Engine, address: str) -> None:
    """Make the tables in an empty database, and migrate it to the newest schema.

    All of it or nothing, and one process at a time.

    Raises
    ------
    SchemaError
        If the schema is newer than this version, or the database is somebody else's.
    StorageUnavailableError
        If the server is away, or does not let us make tables.
    """
    with naming_faults(address), _naming_rights(address):
        # Most often nothing is to be done, and then nobody has to wait for the lock.
        with engine.execution_options(reads=True).begin() as connection:
            if _is_ours(connection, address) and _schema(connection) == newest_schema():
                return
        with engine.begin() as connection:
            if not _is_ours(connection, address):
                _make(connection)
            if _schema(connection) != newest_schema():
                # Here, for most starts have nothing to migrate, and a service keeps what it loaded.
                from joulebook.storage.migrating import upgrade

                upgrade(connection, address)


@contextmanager
def _naming_rights(address: str) -> Iterator[None]:
    """Say what to do where the server lets us in, and not make tables."""
    try:
        yield
    except ProgrammingError as error:
        if getattr(error.orig, "sqlstate", None) != _NO_RIGHT:
            raise
        raise StorageUnavailableError(
            f"the database server lets this user make no tables ({error.orig})",
            where=address,
            expected="a user whose own the database is",
            next_step="ALTER DATABASE name OWNER TO user, on the server",
        ) from error


def refuse_unknown(engine: Engine, address: str) -> None:
    """Raise where a server's database is none that this version can read. It is not touched.

    Raises
    ------
    UsageError
        If it is empty.
    SchemaError
        If its schema is newer than this version, or it is somebody else's.
    StorageUnavailableError
        If the server is away.
    """
    from joulebook.storage.migrating import is_outdated, migrations

    with naming_faults(address), engine.execution_options(reads=True).begin() as connection:
        if not _is_ours(connection, address):
            raise UsageError(
                "the server's database is empty",
                where=address,
                expected="a database that joulebook made",
                next_step="'joulebook serve' makes the tables at its first start",
            )
        is_outdated(connection, address, migrations())


def _schema(connection: Connection) -> str:
    row = connection.exec_driver_sql("SELECT version_num FROM alembic_version").one()
    return str(row[0])


def _is_ours(connection: Connection, address: str) -> bool:
    """Tell whether the tables are there; refuse a database that has others and not ours."""
    sql = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    names = {name for (name,) in connection.exec_driver_sql(sql)}
    if names and not {"alembic_version", "readings", "seal_links"} <= names:
        raise SchemaError(
            "this database is no database of joulebook",
            where=address,
            expected="a database that joulebook made, or an empty one",
            next_step="make one for joulebook alone (createdb), and point the setting at it",
        )
    return bool(names)


def _make(connection: Connection) -> None:
    files = resources.files("joulebook.storage.postgres")
    for name in _FILES:
        connection.exec_driver_sql(files.joinpath(name).read_text(encoding="utf-8"))
    connection.exec_driver_sql(
        "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"
    )
    connection.exec_driver_sql("INSERT INTO alembic_version VALUES (%s)", (FIRST,))
