"""Brings a database file to the schema that this version knows, or refuses it untouched."""

import secrets
import sqlite3
from contextlib import closing, suppress
from importlib import resources
from pathlib import Path

from joulebook.errors import SchemaError
from joulebook.storage.connections import open_connection
from joulebook.storage.faults import naming_faults
from joulebook.storage.new_files import give_name, sync_directory

#: Marks a file as ours: the bytes 68 to 71 of its header, "joul".
APPLICATION_ID = 0x6A6F756C

_MAGIC = b"SQLite format 3\x00"


def prepare(path: Path) -> None:
    """Create the file where there is none, and migrate it to the newest schema.

    Raises
    ------
    SchemaError
        If the file is newer than this version, or no database of ours. It is not touched.
    StorageUnavailableError
        If it cannot be read or written.
    """
    if not path.exists():
        _create(path)
    _refuse_foreign(path)
    if not _is_ready(path):
        # Here, for most starts have nothing to migrate, and a service keeps what it loaded.
        from joulebook.storage.migrating import migrate

        migrate(path)


def _is_ready(path: Path) -> bool:
    """Tell whether a file of ours has the newest schema and its log."""
    with naming_faults(path), closing(open_connection(path)) as connection:
        try:
            schema = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        except sqlite3.OperationalError:
            return False  # an empty file; or one that is away, which migrating says
        (log,) = connection.execute("PRAGMA journal_mode").fetchone()
        return bool(schema == (newest_schema(),) and log == "wal")


def newest_schema() -> str:
    """Return the schema that this version knows."""
    known = resources.files("joulebook.storage.migrations.versions").iterdir()
    return max(each.name[:4] for each in known if each.name[:4].isdigit())


def refuse_unknown(path: Path) -> None:
    """Raise where a file is not one that this version can read. The file is not touched.

    Raises
    ------
    SchemaError
        If the file is newer than this version, or no database of ours.
    """
    from joulebook.storage.migrating import refuse_newer

    _refuse_foreign(path)
    refuse_newer(path)


def _create(path: Path) -> None:
    """Make an empty database of ours that appears under its name complete or not at all.

    Processes that switch on the log of one file at once would be told that it is locked, so
    each makes its own, and the first to give it the name wins.
    """
    unfinished = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    try:
        with naming_faults(path), closing(open_connection(unfinished, create=True)) as connection:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute("PRAGMA journal_mode = WAL")
        with suppress(FileExistsError):
            give_name(unfinished, path)
    finally:
        unfinished.unlink(missing_ok=True)
    sync_directory(path.parent)


def _refuse_foreign(path: Path) -> None:
    """Raise where the file is not ours.

    The header is read as bytes, for SQLite might recover or lock a file just by opening it.
    """
    with path.open("rb") as file:
        header = file.read(100)
    if not header.startswith(_MAGIC) or int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise SchemaError(
            "this file is no database of joulebook",
            where=path,
            expected="a database that joulebook made, or no file at all",
            next_step="choose another data directory, or move the file away",
        )
