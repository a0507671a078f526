"""``joulebook sign-off``: what was signed at a site, and by whom."""

import json
from contextlib import closing
from pathlib import Path
from typing import Any

import click

from joulebook.cli.local_times import shown_local
from joulebook.cli.options import data_option, existing_database, json_option, site_option
from joulebook.storage.catalogue import site_named
from joulebook.storage.sign_offs import SignOff, sign_off_of, sign_offs_of


@click.group("sign-off")
def sign_off() -> None:
    """See what was signed off; signing itself is done on the page of the checks."""


@sign_off.command("list")
@site_option
@json_option
@data_option
def list_all(site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """List the sign-offs of a site, the oldest first.

    \b
    Example: joulebook sign-off list --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        there = sign_offs_of(connection, site.id)
    if as_json:
        print(json.dumps({"site": site.name, "sign_offs": [_about(each) for each in there]}))
        return
    lines = (
        f"{each.id}  {shown_local(each.at_ms, site.zone)}  {each.name}, {each.role}  {_state(each)}"
        for each in there
    )
    print("\n".join(lines) or "no sign-off")


@sign_off.command("show")
@click.argument("number", type=int)
@site_option
@json_option
@data_option
def show(number: int, site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """Show the sign-off NUMBER; with --json the document, to the character as it was signed.

    Its SHA-256 is that of those characters in UTF-8, without a line's end.

    \b
    Example: joulebook sign-off show 1 --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        signed = sign_off_of(connection, site, number)
    if as_json:
        print(signed.document, end="")
        return
    content = signed.content()
    print(f"signed {shown_local(signed.at_ms, site.zone)} by {signed.name}, {signed.role}")
    for check in content["checks"]["checks"]:
        print(
            f"{check['verdict']:8}{check['device'] or 'site'} {check['name']}: {check['sentence']}"
        )
    print(f"sha256 {signed.sha256}, {_state(signed)}")


def _about(signed: SignOff) -> dict[str, Any]:
    return {
        "id": signed.id,
        "at_ms": signed.at_ms,
        "name": signed.name,
        "role": signed.role,
        "sha256": signed.sha256,
        "whole": signed.is_whole,
    }


def _state(signed: SignOff) -> str:
    return "whole" if signed.is_whole else "not as it was signed"
