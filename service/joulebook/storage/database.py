"""The house's database. Open it here, then hand its connections to storage."""

from pathlib import Path

from sqlalchemy import Engine

from joulebook.storage.connections import (
    Connection,
    catalogue_engine,
    open_connection,
    transaction,
)
from joulebook.storage.faults import DatabaseDamagedError, StorageUnavailableError
from joulebook.storage.places import ServerPlace
from joulebook.storage.schema import prepare

# Callers name the type of what they hand back to storage, and need not know the driver.
__all__ = [
    "Connection",
    "Database",
    "DatabaseDamagedError",
    "ServerPlace",
    "StorageUnavailableError",
    "transaction",
]

FILE_NAME = "joulebook.sqlite3"


class Database:
    """The SQLite file of a data directory, ``<data>/joulebook.sqlite3``; or a PostgreSQL server.

    Attributes
    ----------
    data_dir : Path
        The directory; what is no database stands in it in either case.
    path : Path
        The file, where there is one.
    server : ServerPlace or None
        The server that is used instead of the file.
    where : object
        The file, or the server's address without a password: for errors.
    engine : sqlalchemy.Engine
        For the catalogue. Use it inside storage only.
    """

    def __init__(self, data_dir: Path, server: ServerPlace | None = None) -> None:
        self.data_dir = data_dir
        self.path = data_dir / FILE_NAME
        self.server = server
        self.where: Path | str = self.path
        if server is None:
            self._server = None
            self.engine: Engine = catalogue_engine(self.path)
        else:
            # Here, for a house with one home need not have the driver.
            from joulebook.storage.postgres.server import Server

            self._server = Server(server)
            self.where, self.engine = self._server.address, self._server.engine

    @classmethod
    def open(cls, data_dir: Path, server: ServerPlace | None = None) -> "Database":
        """Open the database, made or migrated where that is needed.

        Raises
        ------
        SchemaError
            If it is newer than this version, or no database of ours. It is not touched.
        StorageUnavailableError
            If the directory, the file or the server cannot be used.
        UsageError
            If the server's address is none, or its driver is not installed.
        """
        database = cls(data_dir, server)
        try:
            # Readings and the tokens' hashes are the owner's: nobody else may list them.
            data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
            database._prepare()
        except OSError as error:
            raise StorageUnavailableError(
                f"the data directory cannot be used ({error.strerror})",
                where=data_dir,
                expected="a directory that this user may read and write",
                next_step="choose another one with --data, or change its owner",
            ) from error
        return database

    def _prepare(self) -> None:
        if self._server is None:
            prepare(self.path)
        else:
            self._server.prepare()

    def connect(self) -> Connection:
        """Return a connection for the calling thread; close it after use."""
        if self._server is None:
            return open_connection(self.path)
        return self._server.connect()

    def close(self) -> None:
        """Let go of the connections that are kept."""
        if self._server is None:
            self.engine.dispose()
        else:
            self._server.close()
