"""What a store's own errors mean to the person who runs the service. Here: SQLite's."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Concatenate, NoReturn, ParamSpec, TypeVar

from sqlalchemy.exc import DBAPIError

from joulebook.errors import DataRefusedError, JoulebookError, UnavailableError
from joulebook.storage.stores import Connection, on_server

P = ParamSpec("P")
R = TypeVar("R")
C = TypeVar("C", bound=Connection)
Where = Path | str | Connection


class StorageUnavailableError(UnavailableError):
    """The database cannot be used now: the disk is full, the file is locked or read-only."""


class DatabaseDamagedError(DataRefusedError):
    """The file's content is not what SQLite once wrote there."""


def unusable_directory(data_dir: Path, error: OSError) -> StorageUnavailableError:
    """Return the error of a data directory that cannot be made, read or written."""
    return StorageUnavailableError(
        f"the data directory cannot be used ({error.strerror})",
        where=data_dir,
        expected="a directory that this user may read and write",
        next_step="choose another one with --data, or change its owner",
    )


# By SQLite's primary result code: what is wrong, what was expected, what to do next.
_AWAY = {
    sqlite3.SQLITE_FULL: (
        "the disk is full, nothing of this was stored",
        "room for the database to grow",
        "free some space; writing goes on by itself",
    ),
    sqlite3.SQLITE_BUSY: (
        "the database is locked by another program",
        "a lock of less than 30 seconds",
        "wait for the other program, or end whatever holds the file open for writing",
    ),
    sqlite3.SQLITE_READONLY: (
        "the database may only be read",
        "a file and a directory that this user may write",
        "check the owner, the permissions and how the disk is mounted",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the database cannot be opened",
        "a file that this user may read and write",
        "check that the data directory is there and whose it is",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk failed while the database was read or written",
        "a disk that works",
        "look in the system's log for disk errors, and make a backup now",
    ),
    sqlite3.SQLITE_NOMEM: (
        "there is no memory left for the database",
        "some free memory",
        "end other programs or give the machine more memory",
    ),
}
_AWAY[sqlite3.SQLITE_LOCKED] = _AWAY[sqlite3.SQLITE_BUSY]
_AWAY[sqlite3.SQLITE_PROTOCOL] = _AWAY[sqlite3.SQLITE_BUSY]
_AWAY[sqlite3.SQLITE_PERM] = _AWAY[sqlite3.SQLITE_READONLY]

_DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


def storage_fault(error: BaseException | None, where: Where) -> JoulebookError | None:
    """Return the error that a person can act on, or ``None`` where ours is the fault.

    A statement that SQLite does not understand is an ``OperationalError`` too, but trying it
    again would never help: such errors stay what they are.
    """
    if hasattr(error, "sqlstate"):  # loaded by now, whose error it is
        from joulebook.storage.postgres.faults import server_fault

        return server_fault(error, _path(where))
    # Extended codes carry the primary code in their low byte. Errors that Python's driver
    # raises by itself have no code.
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) & 0xFF
    if code in _DAMAGED:
        return DatabaseDamagedError(
            f"the database is damaged: {error}",
            where=_path(where),
            expected="a database that joulebook wrote",
            next_step="stop the service, keep a copy of the file, and restore the last backup",
        )
    if code in _AWAY:
        what, expected, next_step = _AWAY[code]
        return StorageUnavailableError(
            f"{what} ({error})", where=_path(where), expected=expected, next_step=next_step
        )
    return None


def _path(where: Where) -> object:
    if isinstance(where, Path | str):
        return where
    if on_server(where):
        return where.address
    return where.execute("SELECT file FROM pragma_database_list").fetchone()[0]


@contextmanager
def naming_faults(where: Where) -> Iterator[None]:
    """Raise errors for people instead of the driver's and SQLAlchemy's.

    Parameters
    ----------
    where : Path, str or Connection
        The file, a server's address, or a connection.
    """
    try:
        yield
    except (sqlite3.Error, DBAPIError) as error:
        _raise_named(error, where)


def _raise_named(error: sqlite3.Error | DBAPIError, where: Where) -> NoReturn:
    fault = storage_fault(error.orig if isinstance(error, DBAPIError) else error, where)
    if fault is None:
        raise error
    raise fault from error


def names_faults(
    function: Callable[Concatenate[C, P], R],
) -> Callable[Concatenate[C, P], R]:
    """Make a function of a connection raise errors for people."""

    @wraps(function)
    def named(connection: C, /, *args: P.args, **kwargs: P.kwargs) -> R:
        try:  # as naming_faults does, which would take longer than some of the functions
            return function(connection, *args, **kwargs)
        except (sqlite3.Error, DBAPIError) as error:
            _raise_named(error, connection)

    return named
