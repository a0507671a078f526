"""``joulebook site``: a home, and what is known of it."""

from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any, cast

import click

from joulebook.cli.noted import COMMAND_LINE, changing, note
from joulebook.cli.options import (
    Command,
    clock_ms,
    data_option,
    opened_database,
)
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.organisations import organisation_named, place_site
from joulebook.storage.site_facts import FACTS, SiteFacts, change_facts, facts_of

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group()
def site() -> None:
    """Add a site: a home with its battery and its time zone; or change what is known of it."""


def fact_options(command: Command) -> Command:
    """Add an option for each fact; ``None`` where it was not given."""
    for name, kind, words in reversed(
        (
            ("--battery-ah", float, "Rated charge of the battery. [Ah]"),
            ("--battery-cells", int, "Cells in series, as 16."),
            ("--installed", _DAY, "Day it first ran."),
            ("--warranty-years", float, "Warranty from the day it first ran, as 10."),
            ("--warranty-floor", float, "Warranted share of rated charge, as 0.7."),
            ("--warranty-throughput-kwh", float, "Warranted energy out. [kWh]"),
            ("--inverter-w", float, "What the inverter is rated to give for long. [W]"),
            ("--inverter-peak-w", float, "And for some seconds. [W]"),
            ("--charge-low-c", float, "Coldest cell that the terms allow to charge. [°C]"),
            ("--charge-high-c", float, "And the hottest. [°C]"),
            ("--discharge-low-c", float, "Coldest cell that they allow to discharge. [°C]"),
            ("--discharge-high-c", float, "And the hottest. [°C]"),
            ("--charge-max-v", float, "Most that they let the pack be charged to. [V]"),
            ("--battery-maker", str, "Who made the battery."),
            ("--battery-model", str, "Which one it is."),
            ("--battery-serial", str, "Its serial number."),
            ("--inverter-maker", str, "Who made the inverter."),
            ("--inverter-model", str, "Which one it is."),
            ("--inverter-serial", str, "Its serial number."),
            ("--installer", str, "Who put it up."),
            ("--commissioned", _DAY, "Day on which it was handed over."),
            ("--locale", str, "How numbers and dates are written, as en-GB."),
        )
    ):
        command = click.option(name, type=kind, help=words)(command)
    return command


def _facts(
    *, warranty_floor: float | None, warranty_throughput_kwh: float | None, **given: Any
) -> SiteFacts:
    """Return what the options of `fact_options` gave, ``None`` where nothing."""
    said = {
        fact: value.date() if isinstance(value, datetime) else value
        for fact, value in given.items()
    }
    said["warranty_floor_ratio"] = warranty_floor
    if warranty_throughput_kwh is not None:
        said["warranty_throughput_wh"] = warranty_throughput_kwh * 1000
    return cast(SiteFacts, said)


_organisation_option = click.option(
    "--organisation", metavar="NAME", help="Who looks after it, apart from all others."
)


@site.command("add")
@click.argument("name")
@click.option("--timezone", required=True, metavar="ZONE", help="IANA name, as Europe/Lisbon.")
@fact_options
@_organisation_option
@data_option
def add(name: str, timezone: str, organisation: str | None, data_dir: Path, **given: Any) -> None:
    """Add the site NAME.

    \b
    Example: joulebook site add studio --timezone Europe/Lisbon \\
                 --battery-ah 200 --battery-cells 16 --data DIR
    """
    with opened_database(data_dir) as database, closing(database.connect()) as connection:
        to = None if organisation is None else organisation_named(connection, organisation)
        made = add_site(
            *(database, name, timezone),
            organisation_id=None if to is None else to.id,
            **_facts(**given),
        )
        note(connection, "add site", site=made.name, detail=made.timezone)
    print(f"added site {made.name} in {made.timezone}")


@site.command("set")
@click.argument("name")
@fact_options
@_organisation_option
@click.option(
    *("--forget", "forgotten"),
    type=click.Choice([*(fact.replace("_", "-") for fact in FACTS), "organisation"]),
    multiple=True,
    help="A fact to be missing from now on; may be given several times.",
)
@data_option
def change(
    name: str,
    organisation: str | None,
    forgotten: tuple[str, ...],
    data_dir: Path,
    **given: Any,
) -> None:
    """Change what is known of the site NAME; what is not given stays.

    Rated charge and cells are what days are computed with: changing one has them computed anew.
    The time zone stays: days would begin elsewhere.

    \b
    Example: joulebook site set studio --battery-ah 200 --warranty-years 10 --data DIR
    """
    facts = {fact: value for fact, value in _facts(**given).items() if value is not None}
    facts |= dict.fromkeys(fact.replace("-", "_") for fact in forgotten if fact != "organisation")
    with changing(data_dir) as (database, connection):
        known = site_named(database, name)
        if organisation is not None or "organisation" in forgotten:
            to = None if organisation is None else organisation_named(connection, organisation)
            place_site(connection, known, to, who=COMMAND_LINE, now_ms=clock_ms())
        changed = change_facts(connection, known, **cast(SiteFacts, facts))
        detail = ", ".join(f"{fact} {value}" for fact, value in facts.items())
        note(connection, "change facts", site=known.name, detail=detail)
    told = facts_of(changed.site)
    missing = [fact for fact, value in told.items() if value is None]
    for fact, value in told.items():
        if value is not None:
            print(f"{fact}: {value}")
    print(f"not given: {', '.join(missing) or 'nothing'}")
    print(f"days to be computed anew: {changed.days}")
