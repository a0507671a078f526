"""The house's database. Open it here, then hand its connections to storage."""

from contextlib import ExitStack
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from joulebook.errors import UsageError
from joulebook.storage.connections import (
    Connection,
    catalogue_engine,
    open_connection,
    transaction,
    turn,
)
from joulebook.storage.faults import (
    DatabaseDamagedError,
    StorageUnavailableError,
    unusable_directory,
)
from joulebook.storage.places import ServerPlace, environment_of, server_of
from joulebook.storage.schema import prepare, refuse_unknown

# Callers name the type of what they hand back to storage, and need not know the driver.
__all__ = [
    "Connection",
    "Database",
    "DatabaseDamagedError",
    "ServerPlace",
    "StorageUnavailableError",
    "server_of",
    "transaction",
    "turn",
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
            self._server = _server_class()(server)
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
        with ExitStack() as failing:
            failing.callback(database.close)
            try:
                # Readings and the tokens' hashes are the owner's: nobody else may list them.
                data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
                database._prepare()
            except OSError as error:
                raise unusable_directory(data_dir, error) from error
            failing.pop_all()
        return database

    def _prepare(self) -> None:
        if self._server is None:
            prepare(self.path)
        else:
            self._server.prepare()

    @property
    def environment(self) -> dict[str, str]:
        """What a process of ours finds the same database by, beside the data directory."""
        return environment_of(self.server)

    def refuse_unknown(self) -> None:
        """Raise where there is no database that this version can read; nothing is touched.

        Raises
        ------
        UsageError
            If a server has an empty one.
        SchemaError
            If it is newer than this version, or no database of ours.
        """
        if self._server is None:
            refuse_unknown(self.path)
        else:
            self._server.refuse_unknown()

    def connect(self) -> Connection:
        """Return a connection for the calling thread; close it after use."""
        if self._server is None:
            return open_connection(self.path)
        connection: Connection = self._server.connect()
        return connection

    def close(self) -> None:
        """Let go of the connections that are kept."""
        if self._server is None:
            self.engine.dispose()
        else:
            self._server.close()


def _server_class() -> Any:
    """Return what is loaded for a server alone: a house with one home need not have its driver."""
    try:
        from joulebook.storage.postgres.server import Server
    except ModuleNotFoundError as error:
        raise UsageError(
            f"PostgreSQL's driver is not installed ({error.name})",
            where="setting database",
            expected="joulebook installed with what many homes need",
            next_step="pip install 'joulebook[fleet]', or leave the setting out to use a file",
        ) from error
    return Server
