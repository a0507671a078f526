"""The database of a data directory. Open it here, then hand its connections to storage."""

from pathlib import Path
from sqlite3 import Connection

from sqlalchemy import Engine

from joulebook.storage.connections import catalogue_engine, open_connection, transaction
from joulebook.storage.faults import DatabaseDamagedError, StorageUnavailableError
from joulebook.storage.schema import prepare

# Callers name the type of what they hand back to storage, and need not know the driver.
__all__ = [
    "Connection",
    "Database",
    "DatabaseDamagedError",
    "StorageUnavailableError",
    "transaction",
]

FILE_NAME = "joulebook.sqlite3"


class Database:
    """The SQLite file of a data directory: ``<data>/joulebook.sqlite3``.

    Attributes
    ----------
    data_dir, path : Path
        The directory and the file in it.
    engine : sqlalchemy.Engine
        For the catalogue. Use it inside storage only.
    """

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.path = data_dir / FILE_NAME
        self.engine: Engine = catalogue_engine(self.path)

    @classmethod
    def open(cls, data_dir: Path) -> "Database":
        """Open the database, made or migrated where that is needed.

        Raises
        ------
        SchemaError
            If the file is newer than this version, or no database of ours. It is not touched.
        StorageUnavailableError
            If the directory or the file cannot be read or written.
        """
        database = cls(data_dir)
        try:
            # Readings and the tokens' hashes are the owner's: nobody else may list them.
            data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
            prepare(database.path)
        except OSError as error:
            raise StorageUnavailableError(
                f"the data directory cannot be used ({error.strerror})",
                where=data_dir,
                expected="a directory that this user may read and write",
                next_step="choose another one with --data, or change its owner",
            ) from error
        return database

    def connect(self) -> Connection:
        """Return a new connection for the calling thread; close it after use."""
        return open_connection(self.path)

    def close(self) -> None:
        """Let go of the catalogue's connections."""
        self.engine.dispose()
