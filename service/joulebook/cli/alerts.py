"""``joulebook alert`` and ``joulebook letter``: what the owner was told, and the weekly letter."""

import json
from contextlib import closing
from pathlib import Path

import click

from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    settings_of,
    site_option,
)
from joulebook.reminders.letter import letter_documents, weekly_letter
from joulebook.reminders.looking_back import seen_back
from joulebook.reminders.looking_now import seen_now
from joulebook.storage.alerts import watches_of
from joulebook.storage.catalogue import site_named
from joulebook.summaries.alerts_report import alerts_report


@click.group()
def alert() -> None:
    """See what the owner is told of: rules, and the alerts that opened and closed."""


@alert.command("list")
@site_option
@json_option
@data_option
def list_alerts(site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """List a site's alerts, the newest first.

    \b
    Example: joulebook alert list --site studio --data DIR
    """
    with existing_database(data_dir) as database:
        document = alerts_report(database, site_named(database, site_name))
    if as_json:
        print(json.dumps(document))
        return
    for each in document["alerts"]:
        until = each["closed"] or "open"
        print(f"{each['opened']}  {until}  {each['rule']}  {each['sentence']}")
    if not document["alerts"]:
        print("no alerts")


@alert.command("look")
@site_option
@data_option
def look(site_name: str, data_dir: Path) -> None:
    """Look at a site as the service does, and print what each rule sees; nothing is told.

    \b
    Example: joulebook alert look --site studio --data DIR
    """
    now_ms = clock_ms()
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        watches = watches_of(connection, site.id)
        seen = [
            *seen_now(connection, site, now_ms=now_ms),
            *seen_back(database, connection, site, watches, now_ms=now_ms),
        ]
    for each in seen:
        about = f"{each.rule} {each.subject}".strip()
        if each.value is None:
            print(f"{about}: not known")
        else:
            print(f"{about}: {each.value:.2f}  {each.sentence}")
    if not seen:
        print("nothing was ever read")


@click.command()
@site_option
@data_option
def letter(site_name: str, data_dir: Path) -> None:
    """Print the weekly letter as it would be sent now; nothing is sent.

    \b
    Example: joulebook letter --site studio --data DIR
    """
    settings = settings_of(data_dir)
    now_ms = clock_ms()
    with existing_database(data_dir) as database:
        site = site_named(database, site_name)
        documents = letter_documents(database, site, now_ms=now_ms, max_gap_s=settings.max_gap_s)
        written = weekly_letter(
            database, site, documents, now_ms=now_ms, address=settings.public_url.rstrip("/")
        )
    print(written.title)
    print()
    print(written.text, end="")
