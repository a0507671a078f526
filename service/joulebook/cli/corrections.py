"""``joulebook correction``: what is wrong with readings, said once and applied ever after."""

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
from joulebook.core.corrections import KINDS, Correction, CorrectionKind
from joulebook.storage.catalogue import site_named
from joulebook.storage.corrections import (
    Corrected,
    add_correction,
    corrections_of,
    withdraw_correction,
)


@click.group()
def correction() -> None:
    """Say what is wrong with readings; they stay as they came, and numbers are computed anew."""


@correction.command("add")
@click.argument("series", metavar="DEVICE/QUANTITY")
@click.argument("kind", type=click.Choice(KINDS))
@click.option("--value", type=float, help="Factor of a scale, or what an offset adds.")
@click.option("--from", "first", type=local_time, help="First reading, as 2026-07-14 12:30.")
@click.option("--to", "last", type=local_time, help="Up to here; a day alone is included.")
@click.option("--note", default="", help="Why, for whoever reads it in ten years.")
@site_option
@data_option
def add(
    series: str,
    kind: CorrectionKind,
    value: float | None,
    first: LocalTime | None,
    last: LocalTime | None,
    note: str,
    site_name: str,
    data_dir: Path,
) -> None:
    """Correct the readings of DEVICE/QUANTITY from now on, wherever numbers are computed.

    \b
    sign     turns them around: a clamp that is the wrong way round
    scale    multiplies them by --value: watts given as kilowatts, 1000
    offset   adds --value in the series' unit: a sensor that reads 0.4 A too much, -0.4
    exclude  leaves them out: they count as missing

    Watts, volts and amperes of a device are series of their own: correct each that is wrong.

    \b
    Example: joulebook correction add load/power sign --to '2026-07-14 12:30' \\
                 --note 'The clamp was mounted backwards' --site studio --data DIR
    """
    device, _, quantity = series.partition("/")
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        wanted = Correction(
            id=0,
            device=device,
            quantity=quantity,
            kind=kind,
            value=value,
            from_ms=first.begin_ms(site.zone) if first else None,
            to_ms=last.end_ms(site.zone) if last else None,
            note=note,
            made_ms=clock_ms(),
        )
        added = add_correction(connection, site, wanted)
        detail = _line(added.correction, site.zone)
        noted.note(connection, "add correction", site=site.name, detail=detail)
    print(f"added correction {_line(added.correction, site.zone)}")
    print(_days(added))


@correction.command("list")
@click.option("--withdrawn", is_flag=True, help="Also those that were withdrawn.")
@site_option
@json_option
@data_option
def list_all(site_name: str, data_dir: Path, *, withdrawn: bool, as_json: bool) -> None:
    """List the corrections of a site in the order in which they are applied.

    \b
    Example: joulebook correction list --withdrawn --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        there = corrections_of(connection, site.id, withdrawn=withdrawn)
    if as_json:
        print(json.dumps({"site": site.name, "corrections": [asdict(one) for one in there]}))
        return
    print("\n".join(_line(one, site.zone) for one in there) or "no correction")


@correction.command("withdraw")
@click.argument("number", type=int)
@site_option
@data_option
def withdraw(number: int, site_name: str, data_dir: Path) -> None:
    """Withdraw the correction NUMBER: it is applied no more, and both dates stay on record.

    \b
    Example: joulebook correction withdraw 3 --site studio --data DIR
    """
    with noted.changing(data_dir) as (database, connection):
        site = site_named(database, site_name)
        withdrawn = withdraw_correction(connection, site, number, now_ms=clock_ms())
        detail = _line(withdrawn.correction, site.zone)
        noted.note(connection, "withdraw correction", site=site.name, detail=detail)
    print(f"withdrew correction {_line(withdrawn.correction, site.zone)}")
    print(_days(withdrawn))


def _line(one: Correction, zone: ZoneInfo) -> str:
    value = "" if one.value is None else f" {one.value:g}"
    withdrawn = (
        "" if one.withdrawn_ms is None else f", withdrawn {shown_local(one.withdrawn_ms, zone)}"
    )
    parts = (
        *(str(one.id), f"{one.device}/{one.quantity}", f"{one.kind}{value}", _span(one, zone)),
        f"entered {shown_local(one.made_ms, zone)}{withdrawn}",
        *([one.note] if one.note else []),
    )
    return "  ".join(parts)


def _span(one: Correction, zone: ZoneInfo) -> str:
    begin = None if one.from_ms is None else f"from {shown_local(one.from_ms, zone)}"
    end = None if one.to_ms is None else f"up to {shown_local(one.to_ms, zone)}"
    return " ".join(part for part in (begin, end) if part) or "all readings"


def _days(changed: Corrected) -> str:
    if not changed.days:
        return "no day is concerned"
    return (
        f"{changed.days} day{'' if changed.days == 1 else 's'} to be computed anew: a running "
        "service does it with its next readings, `joulebook show` at once"
    )
