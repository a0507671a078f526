"""Options that several commands share, and what they stand for."""

import os
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from joulebook.errors import UsageError
from joulebook.settings import PREFIX, Settings, load_settings
from joulebook.storage.database import Database, ServerPlace

Command = TypeVar("Command", bound=Callable[..., Any])

data_option = click.option(
    "--data",
    "data_dir",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR",
    help="The data directory; it holds everything.",
)
site_option = click.option("--site", "site_name", required=True, metavar="NAME", help="The site.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")


def span_options(command: Command) -> Command:
    """Add ``--from`` and ``--to``, local dates of the site, both included."""
    kind = click.DateTime(formats=["%Y-%m-%d"])
    command = click.option("--to", "last", type=kind, help="Last local day, as 2026-07-14.")(
        command
    )
    return click.option("--from", "first", type=kind, help="First local day.")(command)


def day_of(moment: datetime | None) -> date | None:
    """Return the date that a ``--from`` or ``--to`` gave."""
    return moment.date() if moment else None


def clock_ms() -> int:
    """Return the time now. [ms, UTC epoch]"""
    return time.time_ns() // 1_000_000


def settings_of(data_dir: Path, without: Collection[str] = (), /, **given: object) -> Settings:
    """Read the settings of a data directory, the environment and the command line.

    Parameters
    ----------
    without : collection of str
        Settings for which the environment does not count.
    """
    file = data_dir / "joulebook.toml"
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    left_out = {f"{PREFIX}{name.upper()}{end}" for name in without for end in ("", "_FILE")}
    environ = {name: value for name, value in os.environ.items() if name not in left_out}
    return load_settings(text, environ, given, toml_name=str(file))


def server_place(settings: Settings) -> ServerPlace | None:
    """Return the server that settings name, ``None`` where the data directory has the file."""
    if not settings.database:
        return None
    return ServerPlace(
        url=settings.database,
        connections=settings.database_connections,
        wait_s=settings.database_wait_s,
        statement_s=settings.database_statement_s,
    )


@contextmanager
def existing_database(data_dir: Path, settings: Settings | None = None) -> Iterator[Database]:
    """Open the database of a data directory that must be there, and close it at the end."""
    if not data_dir.is_dir():
        raise UsageError(
            "there is no such data directory",
            where=data_dir,
            expected="a directory made by 'joulebook serve', 'demo' or 'site add'",
            next_step="check --data",
        )
    with opened_database(data_dir, settings) as database:
        yield database


@contextmanager
def opened_database(data_dir: Path, settings: Settings | None = None) -> Iterator[Database]:
    """Open the database of a data directory, made when missing, and close it at the end.

    It is the file in it, or the server that the settings name.
    """
    settings = settings_of(data_dir) if settings is None else settings
    database = Database.open(data_dir, server_place(settings))
    try:
        yield database
    finally:
        database.close()


@contextmanager
def progress_bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show progress on standard error where that is a terminal; yield ``advance(done, total)``."""
    # Loaded where it is shown: a service, which shows none, would hold it in its memory for good.
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        TaskProgressColumn,
        TextColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, disable=not console.is_terminal) as progress:
        task = progress.add_task(what, total=None)

        def advance(done: int, total: int) -> None:
            progress.update(task, completed=done, total=total)

        yield advance
