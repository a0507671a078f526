"""``joulebook token``: what lets a bridge write, a program read, and a watcher watch."""

import json
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import click

from joulebook.cli.noted import changing, note
from joulebook.cli.options import clock_ms, data_option, existing_database, json_option
from joulebook.storage.catalogue import site_named
from joulebook.storage.organisations import organisation_named
from joulebook.storage.records import Scope
from joulebook.storage.tokens import SCOPES, Token, insert_token, revoke_token, tokens_of

_site_option = click.option("--site", "site_name", metavar="NAME", help="The site; else all.")


@click.group()
def token() -> None:
    """Give a bridge or a program a secret of its own, and take it back."""


@token.command("add")
@click.argument("name")
@click.option(
    "--scope",
    type=click.Choice(SCOPES),
    default="write",
    show_default=True,
    help="write: readings of the site; read: the API; metrics: /metrics.",
)
@_site_option
@click.option("--organisation", metavar="NAME", help="All of its sites; with --scope read.")
@data_option
def add(
    name: str, scope: Scope, site_name: str | None, organisation: str | None, data_dir: Path
) -> None:
    """Make a token for the bridge or program NAME and print its secret, once.

    It signs in with NAME as user name and the secret as password. One that writes is for one
    site; one that reads is for the site that is given, for those of an organisation, or
    for all.

    \b
    Example: joulebook token add shed --site studio --data DIR
             joulebook token add watcher --scope metrics --data DIR
    """
    with changing(data_dir) as (database, connection):
        site = None if site_name is None else site_named(database, site_name)
        of = None if organisation is None else organisation_named(connection, organisation)
        secret = insert_token(
            *(connection, site, name), scope=scope, now_ms=clock_ms(), organisation=of
        )
        note(
            *(connection, "make token"),
            site=site_name,
            detail=f"{name}, scope {scope}",
            organisation_id=None if of is None else of.id,
        )
    print(secret)


@token.command("list")
@click.option("--revoked", is_flag=True, help="Also those that were revoked.")
@_site_option
@json_option
@data_option
def list_all(site_name: str | None, data_dir: Path, *, revoked: bool, as_json: bool) -> None:
    """List the tokens: what each is for, and when it was last noted in use, to the hour (UTC).

    \b
    Example: joulebook token list --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = None if site_name is None else site_named(database, site_name)
        there = tokens_of(connection, None if site is None else site.id)
    shown = [one for one in there if revoked or one.revoked_ms is None]
    if as_json:
        print(json.dumps({"tokens": [asdict(one) for one in shown]}))
        return
    print("\n".join(_line(one) for one in shown) or "no token")


@token.command("revoke")
@click.argument("number", type=int)
@data_option
def revoke(number: int, data_dir: Path) -> None:
    """Revoke the token NUMBER: it lets nobody in any more, within seconds.

    \b
    Example: joulebook token revoke 2 --data DIR
    """
    with changing(data_dir) as (_, connection):
        gone = revoke_token(connection, number, now_ms=clock_ms())
        detail = f"{gone.name}, number {number}"
        note(connection, "revoke token", site=gone.site, detail=detail)
    print(f"revoked token {_line(gone)}")


def _line(one: Token) -> str:
    used = "not used yet" if one.last_used_ms is None else f"used {_utc(one.last_used_ms)}"
    revoked = [] if one.revoked_ms is None else [f"revoked {_utc(one.revoked_ms)}"]
    whose = one.site or (f"all of {one.organisation}" if one.organisation else "all sites")
    return "  ".join([str(one.id), one.name, one.scope, whose, used, *revoked])


def _utc(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).strftime("%Y-%m-%d %H:%M")
