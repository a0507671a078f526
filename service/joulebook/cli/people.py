"""``joulebook person``: who may sign in."""

import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import click

from joulebook.cli.noted import changing, note
from joulebook.cli.options import clock_ms, data_option, existing_database, settings_of
from joulebook.settings import Settings
from joulebook.storage.catalogue import site_named, sites
from joulebook.storage.database import Connection, Database
from joulebook.storage.passwords import check_password, hash_password
from joulebook.storage.people import (
    add_person,
    has_owner,
    people,
    person_named,
    set_disabled,
    set_password,
)
from joulebook.storage.records import Role, Site
from joulebook.storage.sessions import close_sessions
from joulebook.storage.welcomes import make_welcome


@click.group()
def person() -> None:
    """Add people who may sign in, shut them out, and let them in again."""


@person.command("add")
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(("owner", "viewer")),
    required=True,
    help="An owner changes what is said of a site; a viewer looks.",
)
@click.option("--site", "site_names", multiple=True, metavar="NAME", help="Only here; else all.")
@click.option("--password", "asks", is_flag=True, help="Ask for a password, or read it from stdin.")
@data_option
def add(name: str, role: Role, site_names: Sequence[str], data_dir: Path, *, asks: bool) -> None:
    """Add NAME, and print the link that lets the person in once, to choose a password.

    \b
    Example: joulebook person add Ana --role owner --data DIR
             joulebook person add Rui --role viewer --site studio --data DIR
    """
    password = _asked_password(name) if asks else None
    with changing(data_dir) as (database, connection):
        at: dict[int, Role] = {site_named(database, each).id: role for each in site_names}
        everywhere = None if at else role
        made = add_person(connection, name, now_ms=clock_ms(), everywhere=everywhere, at=at)
        where = ", ".join(site_names) or "every site"
        note(connection, "add person", detail=f"{made.name}: {role} of {where}")
        if password is None:
            told = _link(connection, made.id, settings_of(data_dir))
        else:
            set_password(connection, made.id, password)
            told = f"added {made.name}"
    print(told)


@person.command("link")
@click.argument("name")
@data_option
def link(name: str, data_dir: Path) -> None:
    """Print a new link for NAME to choose a password, good once, for a week.

    \b
    Example: joulebook person link Ana --data DIR
    """
    with changing(data_dir) as (_, connection):
        found = person_named(connection, name)
        told = _link(connection, found.id, settings_of(data_dir))
        note(connection, "make a welcome link", detail=found.name)
    print(told)


@person.command("list")
@data_option
def list_all(data_dir: Path) -> None:
    """List everybody, and what each may see and change.

    \b
    Example: joulebook person list --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        known = sites(database)
        lines = []
        for one in people(connection):
            states = [
                *(["shut out"] if one.disabled_ms is not None else []),
                *(["invited"] if one.invited else []),
            ]
            roles = _roles(one.everywhere, [(site, one.at.get(site.id)) for site in known])
            lines.append("  ".join([one.name, roles, *states]))
    print("\n".join(lines) or "nobody")


@person.command("disable")
@click.argument("name")
@data_option
def disable(name: str, data_dir: Path) -> None:
    """Shut NAME out at once; what the person changed stays.

    \b
    Example: joulebook person disable Rui --data DIR
    """
    with changing(data_dir) as (_, connection):
        found = person_named(connection, name)
        set_disabled(connection, found, disabled_ms=clock_ms())
        note(connection, "shut out person", detail=found.name)
    print(f"shut out {found.name}")


@person.command("enable")
@click.argument("name")
@data_option
def enable(name: str, data_dir: Path) -> None:
    """Let NAME sign in again.

    \b
    Example: joulebook person enable Rui --data DIR
    """
    with changing(data_dir) as (_, connection):
        found = person_named(connection, name)
        set_disabled(connection, found, disabled_ms=None)
        note(connection, "let in person", detail=found.name)
    print(f"let in {found.name}")


@person.command("sign-out")
@click.argument("name")
@data_option
def sign_out(name: str, data_dir: Path) -> None:
    """Sign NAME out everywhere.

    \b
    Example: joulebook person sign-out Ana --data DIR
    """
    with changing(data_dir) as (_, connection):
        found = person_named(connection, name)
        ended = close_sessions(connection, found.id)
        note(connection, "sign out person", detail=found.name)
    print(f"ended {ended} session{'' if ended == 1 else 's'} of {found.name}")


def first_owner_link(database: Database, settings: Settings, *, port: int) -> str | None:
    """Return the link that makes the first owner, or ``None`` where there is one."""
    with closing(database.connect()) as connection:
        if has_owner(connection):
            return None
        return _link(connection, None, settings, port=port)


def _link(
    connection: Connection, person_id: int | None, settings: Settings, *, port: int | None = None
) -> str:
    secret = make_welcome(connection, person_id, now_ms=clock_ms())
    # A service that listens everywhere has no one name; on its own machine this one works.
    everywhere = settings.host in ("0.0.0.0", "::")  # noqa: S104 -- compared with
    host = "127.0.0.1" if everywhere else settings.host
    host = f"[{host}]" if ":" in host else host
    base = settings.public_url or f"http://{host}:{settings.port if port is None else port}"
    return f"{base}/welcome/{secret}"


def _asked_password(name: str) -> str:
    """Return the hash of a password that is typed twice, or of the one line of standard input."""
    if sys.stdin.isatty():  # pragma: no cover - needs a terminal
        password = str(click.prompt("Password", hide_input=True, confirmation_prompt=True))
    else:
        password = sys.stdin.readline().rstrip("\r\n")
    check_password(password, name)
    return hash_password(password)


def _roles(everywhere: Role | None, at: Sequence[tuple[Site, Role | None]]) -> str:
    words = [f"{everywhere} of every site"] if everywhere else []
    words += [f"{role} of {site.name}" for site, role in at if role]
    return ", ".join(words) or "nothing"
