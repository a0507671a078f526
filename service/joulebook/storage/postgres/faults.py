"""What a server's errors mean to the person who runs the service."""

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from sqlalchemy.exc import TimeoutError as AllLentError

from joulebook.errors import JoulebookError
from joulebook.storage.faults import DatabaseDamagedError, StorageUnavailableError

# By SQLSTATE, or its first two characters ("PostgreSQL Error Codes", appendix A of its manual):
# what is wrong, what was expected, what to do next.
_AWAY = {
    "08": (
        "the database server cannot be reached",
        "a server that answers",
        "check that it runs; writing goes on by itself",
    ),
    "28": (
        "the database server does not let us in",
        "a user and a password that it knows",
        "correct the setting 'database', or the server's rules for who may connect",
    ),
    "3D": (
        "the server has no such database",
        "a database that was made for joulebook",
        "make it with createdb, or correct the setting 'database'",
    ),
    "53": (
        "the database server has no room left",
        "room on its disk, memory, and a free connection",
        "free what the message names; writing goes on by itself",
    ),
    "57": (
        "the database server has ended what was under way",
        "a server that runs, and statements within their time",
        "wait until it is up again; writing goes on by itself",
    ),
    "58": (
        "the database server's disk failed",
        "a disk that works",
        "look in the server's log, and make a backup now",
    ),
    "25006": (
        "the database may only be read",
        "the primary server",
        "point the setting 'database' at the primary, or end its read-only mode",
    ),
    "40P01": (
        "the database server broke off one of two that waited for each other",
        "one that writes at a time",
        "nothing: it is tried again",
    ),
    "55P03": (
        "the database is locked by another program",
        "a lock of less than 30 seconds",
        "wait for the other program, or end what holds a transaction open",
    ),
}
# What a server says to whom it does not let in, in its own English. A code comes with it wherever
# `connecting` can ask for one; where it cannot, one who speaks another language is only "away".
_REFUSALS = (
    ("28", ("authentication failed", "no password supplied", "no pg_hba.conf entry", 'role "')),
    ("3D", ('database "',)),
    ("53", ("too many", "connection slots")),
    ("57", ("starting up", "shutting down", "recovery mode")),
)
#: At the door: no right to connect to this database. Of a statement it is a fault of ours.
_NO_RIGHT = "42501"
_DAMAGED = ("XX001", "XX002")


def server_fault(error: BaseException | None, where: object) -> JoulebookError | None:
    """Return the error that a person can act on, or ``None`` where ours is the fault."""
    if isinstance(error, AllLentError):
        key, said = "53", "all connections of this process were in use for too long"
    elif isinstance(error, psycopg.Error):
        # An error that the driver raises by itself, as when the connection breaks, has no code.
        key = error.sqlstate or ""
        if not key and isinstance(error, psycopg.OperationalError):
            key = _code_of(str(error))
        elif error.pgconn is not None:  # of a connection that there is not
            key = _at_the_door(key)
        said = (str(error).strip().splitlines() or [type(error).__name__])[0]
    else:
        return None
    if key in _DAMAGED:
        return DatabaseDamagedError(
            f"the database is damaged: {said}",
            where=where,
            expected="a database that joulebook wrote",
            next_step="stop the service, keep a copy, and restore the last backup",
        )
    words = _AWAY.get(key) or _AWAY.get(key[:2])
    if words is None:
        return None
    what, expected, next_step = words
    return StorageUnavailableError(
        f"{what} ({said})", where=where, expected=expected, next_step=next_step
    )


def _at_the_door(key: str) -> str:
    """Return a code that is known of one who is not let in, whatever the server's own is."""
    if key == _NO_RIGHT:
        return "28"
    return key if key in _AWAY or key[:2] in _AWAY else "08"


def _code_of(said: str) -> str:
    """Return the class of an error that came with words alone, as to one who is not let in."""
    return next((code for code, words in _REFUSALS if any(word in said for word in words)), "08")


@contextmanager
def naming_server_faults(where: object) -> Iterator[None]:
    """Raise errors for people instead of the driver's."""
    try:
        yield
    except (psycopg.Error, AllLentError) as error:
        fault = server_fault(error, where)
        if fault is None:
            raise
        raise fault from error
