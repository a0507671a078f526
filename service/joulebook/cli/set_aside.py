"""``joulebook set-aside``: what could not be stored, and another try."""

import json
from contextlib import closing
from dataclasses import asdict
from pathlib import Path

import click

from joulebook.cli import noted
from joulebook.cli.options import clock_ms, data_option, existing_database, json_option
from joulebook.ingest.trying_again import try_again
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.quarantine import set_aside as kept_aside
from joulebook.storage.records import Site

_of_a_site = click.option(
    "--site", "site_name", metavar="SITE", help="Of this site; else of all and of none."
)


@click.group("set-aside")
def set_aside() -> None:
    """See how much could not be stored as it came, and store what can be stored by now."""


@set_aside.command("list")
@_of_a_site
@json_option
@data_option
def list_all(site_name: str | None, data_dir: Path, *, as_json: bool) -> None:
    """Count what is set aside, by reason; the page Set aside shows each message.

    \b
    Example: joulebook set-aside list --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = _site(database, site_name)
        found = kept_aside(connection, None if site is None else site.id)
    if as_json:
        print(json.dumps({"site": site_name, "reasons": [asdict(each) for each in found]}))
        return
    print("\n".join(f"{each.reason}  {each.kept}" for each in found) or "nothing was set aside")


@set_aside.command("again")
@_of_a_site
@json_option
@data_option
def again(site_name: str | None, data_dir: Path, *, as_json: bool) -> None:
    """Try what was set aside again, and store each message that can be stored whole by now.

    After a clock was put right, a site or a mapping file added, or a newer joulebook installed.
    What still cannot be stored stays as it was. What a bridge sent for a site that is not its own
    is not tried.

    \b
    Example: joulebook set-aside again --site studio --data DIR
    """
    with existing_database(data_dir) as database:
        site = _site(database, site_name)
        tried = try_again(database, None if site is None else site.id, clock_ms=clock_ms)
        with closing(database.connect()) as connection:
            detail = f"{tried.stored} of {tried.tried} stored"
            noted.note(connection, "try again what was set aside", site=site_name, detail=detail)
    print(
        json.dumps(asdict(tried))
        if as_json
        else f"tried again: {tried.tried}, stored: {tried.stored}"
    )


def _site(database: Database, name: str | None) -> Site | None:
    return None if name is None else site_named(database, name)
