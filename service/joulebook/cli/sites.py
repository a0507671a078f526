"""``joulebook site`` and ``joulebook token``: who may write what, and where."""

from datetime import datetime
from pathlib import Path

import click

from joulebook.cli.options import data_option, existing_database, opened_database, site_option
from joulebook.storage.catalogue import add_site, add_token, site_named


@click.group()
def site() -> None:
    """Add a site: a home with its battery and its time zone."""


@site.command("add")
@click.argument("name")
@click.option("--timezone", required=True, metavar="ZONE", help="IANA name, as Europe/Lisbon.")
@click.option("--battery-ah", type=float, help="Rated charge of the battery. [Ah]")
@click.option("--battery-cells", type=int, help="Cells in series, as 16.")
@click.option("--installed", type=click.DateTime(formats=["%Y-%m-%d"]), help="Day it first ran.")
@click.option("--warranty-years", type=float, help="Warranty from the day it first ran, as 10.")
@click.option("--warranty-floor", type=float, help="Warranted share of rated charge, as 0.7.")
@click.option("--warranty-throughput-kwh", type=float, help="Warranted energy out. [kWh]")
@data_option
def add(
    name: str,
    timezone: str,
    battery_ah: float | None,
    battery_cells: int | None,
    installed: datetime | None,
    warranty_years: float | None,
    warranty_floor: float | None,
    warranty_throughput_kwh: float | None,
    data_dir: Path,
) -> None:
    """Add the site NAME.

    \b
    Example: joulebook site add studio --timezone Europe/Lisbon \\
                 --battery-ah 200 --battery-cells 16 --data DIR
    """
    throughput_wh = None if warranty_throughput_kwh is None else warranty_throughput_kwh * 1000
    with opened_database(data_dir) as database:
        made = add_site(
            database,
            name,
            timezone,
            battery_ah=battery_ah,
            battery_cells=battery_cells,
            installed=installed.date() if installed else None,
            warranty_years=warranty_years,
            warranty_floor_ratio=warranty_floor,
            warranty_throughput_wh=throughput_wh,
        )
    print(f"added site {made.name} in {made.timezone}")


@click.group()
def token() -> None:
    """Give a bridge the secret that lets it write to one site."""


@token.command("add")
@click.argument("name")
@site_option
@data_option
def add_one(name: str, site_name: str, data_dir: Path) -> None:
    """Make a token for the bridge NAME and print its secret, once.

    The bridge signs in with NAME as user name and the secret as password.

    \b
    Example: joulebook token add shed --site studio --data DIR
    """
    with existing_database(data_dir) as database:
        print(add_token(database, site_named(database, site_name), name))
