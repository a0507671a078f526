"""Migrates a database file by Alembic, which takes 11 MB: loaded where there is work for it."""

from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from joulebook.errors import SchemaError
from joulebook.storage.connections import catalogue_engine, open_connection
from joulebook.storage.faults import naming_faults
from joulebook.storage.new_files import sync_directory


def migrations() -> Config:
    """Return Alembic's configuration for the migrations in the package; no file on disk."""
    config = Config()
    config.set_main_option("script_location", "joulebook.storage:migrations")
    return config


def migrate(path: Path, config: Config | None = None) -> None:
    """Bring a file of ours to the newest schema.

    Raises
    ------
    SchemaError
        If it is newer than this version. It is not touched.
    """
    engine = catalogue_engine(path)
    config = migrations() if config is None else config
    with naming_faults(path):
        # Most often nothing is to be done, and then nobody has to wait for the write lock.
        with engine.execution_options(reads=True).begin() as connection:
            outdated = is_outdated(connection, path, config)
        with closing(open_connection(path)) as log:
            log.execute("PRAGMA journal_mode = WAL")  # a copy that was put back has none
        if outdated:
            with engine.begin() as connection:
                _upgrade(connection, path, config)


def refuse_newer(path: Path) -> None:
    """Raise `SchemaError` where a file is newer than this version. It is not touched."""
    engine = catalogue_engine(path).execution_options(reads=True)
    with naming_faults(path), engine.begin() as connection:
        is_outdated(connection, path, migrations())


def is_outdated(connection: Connection, where: object, config: Config) -> bool:
    """Tell whether a database of ours has an older schema than the newest.

    Raises
    ------
    SchemaError
        If it has a newer one.
    """
    script = ScriptDirectory.from_config(config)
    head = script.get_current_head()
    current = MigrationContext.configure(connection).get_current_revision()
    known = {revision.revision for revision in script.walk_revisions()}
    if current is not None and current not in known:
        raise SchemaError(
            f"the database has schema {current}, this version knows {head}",
            where=where,
            expected=f"schema {head} or older",
            next_step="run the newer joulebook, or restore the backup made before the upgrade",
        )
    return current != head


def _upgrade(connection: Connection, path: Path, config: Config) -> None:
    """Migrate under the write lock: all of the steps or none."""
    if not is_outdated(connection, path, config):
        return  # another process did it while we waited for the lock
    current = MigrationContext.configure(connection).get_current_revision()
    if current is not None:
        copy_beside(path, path.with_name(f"{path.name}.schema-{current}"))
    upgrade(connection, path, config)


def upgrade(connection: Connection, where: object, config: Config | None = None) -> None:
    """Migrate in the caller's transaction, which nobody else can write beside.

    Raises
    ------
    SchemaError
        If the database has a newer schema.
    """
    config = migrations() if config is None else config
    if is_outdated(connection, where, config):
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
