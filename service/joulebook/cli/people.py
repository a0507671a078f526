"""``joulebook person``: who may sign in."""

import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import click

from joulebook.cli.noted import changing, note
from joulebook.cli.options import clock_ms, data_option, existing_database, settings_of
from joulebook.cli.role_options import reached_by, role_options, roles_with, roles_words
from joulebook.settings import Settings
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Connection, Database
from joulebook.storage.organisations import organisations
from joulebook.storage.passwords import check_password, hash_password
from joulebook.storage.people import (
    add_person,
    change_roles,
    has_owner,
    people,
    person_named,
    set_disabled,
    set_password,
)
from joulebook.storage.records import Role
from joulebook.storage.sessions import close_sessions
from joulebook.storage.welcomes import make_welcome

_ROLES: dict[str, Role | None] = {"owner": "owner", "viewer": "viewer", "none": None}


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
@role_options
@click.option("--password", "asks", is_flag=True, help="Ask for a password, or read it from stdin.")
@data_option
def add(
    name: str,
    role: Role,
    site_names: Sequence[str],
    organisation_names: Sequence[str],
    data_dir: Path,
    *,
    asks: bool,
) -> None:
    """Add NAME, and print the link that lets the person in once, to choose a password.

    \b
    Example: joulebook person add Ana --role owner --data DIR
             joulebook person add Rui --role viewer --site studio --data DIR
             joulebook person add Eva --role owner --organisation "Kiln and Sun" --data DIR
    """
    password = _asked_password(name) if asks else None
    with changing(data_dir) as (database, connection):
        place = reached_by(database, connection, site_names, organisation_names)
        made = add_person(
            *(connection, name),
            now_ms=clock_ms(),
            everywhere=role if place.is_everything else None,
            inside=dict.fromkeys(place.organisation_ids, role),
            at=dict.fromkeys(place.site_ids, role),
        )
        note(connection, "add person", detail=f"{made.name}: {role} of {place.words}")
        if password is None:
            told = _link(connection, made.id, settings_of(data_dir))
        else:
            set_password(connection, made.id, password)
            told = f"added {made.name}"
    print(told)


@person.command("role")
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(tuple(_ROLES)),
    required=True,
    help="An owner changes what is said of a site; a viewer looks; none may do nothing there.",
)
@role_options
@data_option
def change_role(
    name: str,
    role: str,
    site_names: Sequence[str],
    organisation_names: Sequence[str],
    data_dir: Path,
) -> None:
    """Change what NAME may do: everywhere, or at the sites and in the organisations given.

    What the person may do elsewhere stays.

    \b
    Example: joulebook person role Rui --role owner --site studio --data DIR
             joulebook person role Rui --role none --organisation "Kiln and Sun" --data DIR
    """
    given = _ROLES[role]
    with changing(data_dir) as (database, connection):
        found = person_named(connection, name)
        place = reached_by(database, connection, site_names, organisation_names)
        change_roles(
            *(connection, found),
            everywhere=given if place.is_everything else found.everywhere,
            inside=roles_with(found.inside, place.organisation_ids, given),
            at=roles_with(found.at, place.site_ids, given),
        )
        told = f"{found.name}: {given or 'nothing'} of {place.words}"
        note(connection, "change person", detail=told)
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
        known, there = sites(database), organisations(connection)
        lines = []
        for one in people(connection):
            states = [
                *(["shut out"] if one.disabled_ms is not None else []),
                *(["invited"] if one.invited else []),
            ]
            lines.append("  ".join([one.name, roles_words(one, known, there), *states]))
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
