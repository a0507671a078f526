"""``joulebook event``: what was changed at a site, and when."""

import json
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from joulebook.cli import noted
from joulebook.cli.local_times import LocalTime, local_time, shown_local
from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    site_option,
)
from joulebook.storage.catalogue import site_named
from joulebook.storage.events import KINDS, Event, EventKind, add_event, events_of, remove_event


@click.group()
def event() -> None:
    """Note what was changed at a site, so that before and after are never mixed."""


@event.command("add")
@click.argument("title")
@click.option(
    *("--kind", "kind"), type=click.Choice(KINDS), default="other", help="What it was about."
)
@click.option("--at", "moment", type=local_time, help="When, as 2026-07-14 12:30; else now.")
@click.option("--note", default="", help="What else there is to say.")
@site_option
@data_option
def add(
    title: str,
    kind: EventKind,
    moment: LocalTime | None,
    note: str,
    site_name: str,
    data_dir: Path,
) -> None:
    """Note an event: TITLE says in a few words what was changed.

    Numbers that compare need to know it: new firmware, other wiring, more panels, another
    battery or sensor, a setting, or the capacity that the equipment was told.

    \b
    Example: joulebook event add 'Four more panels' --kind panels --at '2026-07-14 16:00' \\
                 --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        now_ms = clock_ms()
        at_ms = moment.begin_ms(site.zone) if moment else now_ms
        wanted = Event(id=0, at_ms=at_ms, kind=kind, title=title, note=note, made_ms=now_ms)
        added = add_event(connection, site, wanted)
        noted.note(connection, "add event", site=site.name, detail=_line(added, site.zone))
    print(f"added event {_line(added, site.zone)}")


@event.command("list")
@click.option("--removed", is_flag=True, help="Also those that were removed.")
@site_option
@json_option
@data_option
def list_all(site_name: str, data_dir: Path, *, removed: bool, as_json: bool) -> None:
    """List the events of a site, the oldest first.

    \b
    Example: joulebook event list --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        there = events_of(connection, site.id, removed=removed)
    if as_json:
        print(json.dumps({"site": site.name, "events": [asdict(one) for one in there]}))
        return
    print("\n".join(_line(one, site.zone) for one in there) or "no event")


@event.command("remove")
@click.argument("number", type=int)
@site_option
@data_option
def remove(number: int, site_name: str, data_dir: Path) -> None:
    """Take back the event NUMBER, which never happened; that it was noted stays on record.

    Photos of it are deleted.

    \b
    Example: joulebook event remove 2 --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        removed = remove_event(connection, site, number, now_ms=clock_ms())
        noted.note(connection, "remove event", site=site.name, detail=_line(removed, site.zone))
    print(f"removed event {_line(removed, site.zone)}")


def _line(one: Event, zone: ZoneInfo) -> str:
    removed = [] if one.removed_ms is None else [f"(removed {shown_local(one.removed_ms, zone)})"]
    note = [one.note] if one.note else []
    return "  ".join(
        [str(one.id), shown_local(one.at_ms, zone), one.kind, one.title, *note, *removed]
    )
