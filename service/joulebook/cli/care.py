"""``joulebook backup``, ``restore`` and ``verify``: taking care of the database."""

import sys
from pathlib import Path

import click
import msgspec

from joulebook.cli.options import clock_ms, data_option, server_place, settings_of
from joulebook.core.daily.days import METHOD
from joulebook.errors import UsageError
from joulebook.storage.backup import back_up
from joulebook.storage.backup import restore as restore_backup
from joulebook.storage.backup_notes import BackupNote, note_backup
from joulebook.storage.database import Database
from joulebook.storage.findings import Findings
from joulebook.storage.verify import verify as verify_database
from joulebook.summaries.results import decoded, json_of

_file_argument = click.argument("file", type=click.Path(path_type=Path))
_keep_option = click.option(
    "--keep-damaged",
    is_flag=True,
    help="Keep the copy although something in it is damaged; what is, is told.",
)


@click.command()
@_file_argument
@data_option
@_keep_option
def backup(file: Path, data_dir: Path, *, keep_damaged: bool) -> None:
    """Copy the whole database to FILE, also while the service runs.

    FILE appears when it is complete, checked and on disk, or not at all. It holds everything:
    sites, tokens, readings, results, quarantine.

    \b
    Example: joulebook backup joulebook-2026-07-14.sqlite3 --data DIR
    """
    _refuse_server(data_dir, "backup")
    findings = back_up(data_dir, file, result_fault=_result_fault, keep_damaged=keep_damaged)
    print(f"backup: {file}, {_size(file)}")
    _tell(findings, file)
    _note(file, data_dir)


@click.command()
@_file_argument
@data_option
@_keep_option
def restore(file: Path, data_dir: Path, *, keep_damaged: bool) -> None:
    """Put the backup FILE into a data directory that has no database.

    FILE is checked first. Nothing is overwritten, and no service may run there.

    \b
    Example: joulebook restore joulebook-2026-07-14.sqlite3 --data DIR
    """
    _refuse_server(data_dir, "restore")
    findings = restore_backup(file, data_dir, result_fault=_result_fault, keep_damaged=keep_damaged)
    print(f"restored: {data_dir}, from {file}")
    _tell(findings, data_dir)


@click.command()
@data_option
def verify(data_dir: Path) -> None:
    """Look at everything in the database and name what is damaged; changes nothing.

    The exit status is 4 where something is. The service may run meanwhile.

    \b
    Example: joulebook verify --data DIR
    """
    database = Database(data_dir, server_place(settings_of(data_dir)))
    try:
        findings = verify_database(database, result_fault=_result_fault)
    finally:
        database.close()
    _tell(findings, data_dir if database.server is None else database.where)


def _refuse_server(data_dir: Path, command: str) -> None:
    """Raise where the database is not the file that the command would copy."""
    place = server_place(settings_of(data_dir))
    if place is not None:
        raise UsageError(
            f"'joulebook {command}' copies a file, and this database is on a server",
            where="setting database",
            expected="no server",
            next_step="use the server's own tools, pg_dump or a base backup with its log: "
            "docs/operating/fleet.md",
        )


def _note(file: Path, data_dir: Path) -> None:
    """Remember when it was made, for /metrics and the doctor; the backup is good without."""
    size_bytes = file.stat().st_size
    try:
        note_backup(
            data_dir,
            BackupNote(at_ms=clock_ms(), file=str(file.absolute()), size_bytes=size_bytes),
        )
    except OSError as error:
        print(f"its date could not be noted in {data_dir}: {error.strerror}", file=sys.stderr)


def _tell(findings: Findings, where: Path | str) -> None:
    """Say what was checked and what is damaged; raise where something is."""
    print("checked: " + ", ".join(f"{what} {count}" for what, count in findings.checked.items()))
    for sentence in findings.damage:
        print(f"damaged: {sentence}")
    findings.refuse_damage(where)
    print("nothing is damaged")


def _result_fault(method: str, result: bytes) -> str | None:
    """Return why a day's result cannot be read. Those of older methods are JSON at least."""
    try:
        if method == METHOD:
            decoded(result)
        else:
            msgspec.json.decode(json_of(result))
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        return str(error)
    return None


def _size(file: Path) -> str:
    return f"{file.stat().st_size / 1e6:.1f} MB"
