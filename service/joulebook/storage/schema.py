"""Brings a database file to the schema that this version knows, or refuses it untouched."""

import secrets
from contextlib import closing, suppress
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from joulebook.errors import SchemaError
from joulebook.storage.connections import catalogue_engine, open_connection
from joulebook.storage.faults import naming_faults
from joulebook.storage.new_files import give_name, sync_directory

#: Marks a file as ours: the bytes 68 to 71 of its header, "joul".
APPLICATION_ID = 0x6A6F756C

_MAGIC = b"SQLite format 3\x00"


def migrations() -> Config:
    """Return Alembic's configuration for the migrations in the package; no file on disk."""
    config = Config()
    config.set_main_option("script_location", "joulebook.storage:migrations")
    return config


def prepare(path: Path, config: Config | None = None) -> None:
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
    engine = catalogue_engine(path)
    config = migrations() if config is None else config
    with naming_faults(path):
        # Most often nothing is to be done, and then nobody has to wait for the write lock.
        with engine.execution_options(reads=True).begin() as connection:
            outdated = _is_outdated(connection, path, config)
        with closing(open_connection(path)) as log:
            log.execute("PRAGMA journal_mode = WAL")  # a copy that was put back has none
        if outdated:
            with engine.begin() as connection:
                _upgrade(connection, path, config)


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


def refuse_unknown(path: Path) -> None:
    """Raise where a file is not one that this version can read. The file is not touched.

    Raises
    ------
    SchemaError
        If the file is newer than this version, or no database of ours.
    """
    _refuse_foreign(path)
    engine = catalogue_engine(path).execution_options(reads=True)
    with naming_faults(path), engine.begin() as connection:
        _is_outdated(connection, path, migrations())


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


def _is_outdated(connection: Connection, path: Path, config: Config) -> bool:
    script = ScriptDirectory.from_config(config)
    head = script.get_current_head()
    current = MigrationContext.configure(connection).get_current_revision()
    known = {revision.revision for revision in script.walk_revisions()}
    if current is not None and current not in known:
        raise SchemaError(
            f"the database has schema {current}, this version knows {head}",
            where=path,
            expected=f"schema {head} or older",
            next_step="run the newer joulebook, or restore the backup made before the upgrade",
        )
    return current != head


def _upgrade(connection: Connection, path: Path, config: Config) -> None:
    """Migrate under the write lock: all of the steps or none."""
    if not _is_outdated(connection, path, config):
        return  # another process did it while we waited for the lock
    current = MigrationContext.configure(connection).get_current_revision()
    if current is not None:
        copy_beside(path, path.with_name(f"{path.name}.schema-{current}"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def copy_beside(path: Path, copy: Path) -> None:
    """Copy a database that may be in use. The copy appears whole or not at all."""
    unfinished = copy.with_name(f"{copy.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    with (
        closing(open_connection(path)) as source,
        closing(open_connection(unfinished, create=True)) as target,
    ):
        source.backup(target)
        # One file, readable by itself, without a log beside it.
        target.execute("PRAGMA journal_mode = DELETE")
    unfinished.replace(copy)
    sync_directory(copy.parent)
