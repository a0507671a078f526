"""Copies of the whole database, and back."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from joulebook.errors import DataRefusedError, UsageError
from joulebook.storage.connections import open_connection
from joulebook.storage.database import FILE_NAME
from joulebook.storage.faults import naming_faults
from joulebook.storage.findings import Findings, ResultFault
from joulebook.storage.lock import only_service
from joulebook.storage.new_files import new_file, unwritable
from joulebook.storage.schema import refuse_unknown
from joulebook.storage.verify import database_file, verify_file

# What SQLite says of the copy and not of the database that it reads.
_TARGET_FAULTS = frozenset(
    {
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_IOERR_WRITE,
        sqlite3.SQLITE_IOERR_FSYNC,
        sqlite3.SQLITE_IOERR_TRUNCATE,
    }
)


def back_up(
    data_dir: Path, file: Path, *, result_fault: ResultFault, keep_damaged: bool = False
) -> Findings:
    """Copy the database of a data directory to a file, also beside a running service.

    The copy holds one commit and everything before it, without the room that is free inside
    the database. It is looked at as :func:`verify` does and on disk before it gets its name.

    Parameters
    ----------
    keep_damaged : bool
        Keep a copy also if something in it is damaged, as it is in the database.

    Raises
    ------
    UsageError
        If the data directory has no database.
    DataRefusedError
        If there is a file of that name, or the database is damaged.
    StorageUnavailableError
        If the disk is full, or one of the files cannot be used.
    """
    source = database_file(data_dir)
    refuse_unknown(source)
    with new_file(file) as copy:
        with (
            naming_faults(source),
            closing(open_connection(source)) as connection,
            _naming_target(file),
        ):
            connection.execute("VACUUM INTO ?", (str(copy.absolute()),))
        return _looked_at(copy, source, result_fault, keep_damaged=keep_damaged)


def restore(
    file: Path, data_dir: Path, *, result_fault: ResultFault, keep_damaged: bool = False
) -> Findings:
    """Put a backup into a data directory that has no database; made when missing.

    The copy is looked at before it gets its name, so the directory has all of it or nothing.

    Raises
    ------
    UsageError
        If there is no such backup.
    DataRefusedError
        If the directory has a database already, or what a lost one left behind, or the backup
        is damaged, newer than this version, or no database of ours.
    UnavailableError
        If a service runs in the directory, the disk is full, or it cannot be written.
    """
    if not file.is_file():
        raise UsageError(
            "there is no such backup",
            where=file,
            expected="a file that 'joulebook backup' made",
            next_step="check its name",
        )
    refuse_unknown(file)
    target = data_dir / FILE_NAME
    with only_service(data_dir):
        _refuse_leftovers(target)
        with new_file(target) as copy:
            with naming_faults(file), closing(open_connection(file)) as connection:
                _copy_into(connection, copy, target)
            return _looked_at(copy, file, result_fault, keep_damaged=keep_damaged)


def _copy_into(connection: sqlite3.Connection, copy: Path, target: Path) -> None:
    """Copy page by page: what is damaged stays as it is, so that the check after it can tell."""
    with _naming_target(target), closing(open_connection(copy)) as new:
        connection.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")  # one file, whole by itself


@contextmanager
def _naming_target(target: Path) -> Iterator[None]:
    """Raise what SQLite says of the copy as that; everything else is of the database it reads."""
    try:
        yield
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) in _TARGET_FAULTS:
            raise unwritable(target, error) from error
        raise


def _looked_at(
    copy: Path, source: Path, result_fault: ResultFault, *, keep_damaged: bool
) -> Findings:
    findings = verify_file(copy, result_fault=result_fault)
    if not keep_damaged:
        findings.refuse_damage(source)
    return findings


def _refuse_leftovers(target: Path) -> None:
    """Raise where a lost database left its log: SQLite would put it into the restored one."""
    for name in (FILE_NAME, *(f"{FILE_NAME}{suffix}" for suffix in ("-wal", "-shm", "-journal"))):
        if (there := target.with_name(name)).exists():
            raise DataRefusedError(
                "this data directory has a database already, or a part of one",
                where=there,
                expected="a directory without; nothing is ever overwritten",
                next_step="stop the service and move every joulebook.sqlite3* away, or choose "
                "another --data",
            )
