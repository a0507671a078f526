"""``joulebook tariff``: what a kilowatt-hour costs at a site, from which day on."""

import json
import tomllib
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any

import click

from joulebook.cli.options import (
    clock_ms,
    data_option,
    existing_database,
    json_option,
    site_option,
)
from joulebook.core.money.tariff import Tariff, clock_text
from joulebook.core.money.tariff_checks import TariffError
from joulebook.core.money.tariff_text import document_of, tariff_of
from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import transaction
from joulebook.storage.tariffs import TariffVersion, add_tariff, tariffs_of, withdraw_tariff

_WHO = "command line"


@click.group()
def tariff() -> None:
    """Say what a kilowatt-hour costs, by season and hour, from a day on."""


@tariff.command("add")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@site_option
@data_option
def add(file: Path, site_name: str, data_dir: Path) -> None:
    """Add the tariff of FILE, which holds until a later one begins; docs/tariff.md shows one.

    A tariff is never edited: when prices change, add another one that begins on that day.

    \b
    Example: joulebook tariff add docs/examples/tariff.toml --site studio --data DIR
    """
    document = _read(file)
    note = document.get("note", "")
    if not isinstance(note, str):
        raise _unusable(file, f"note: {note!r} is no text", "a text in quotes")
    try:
        wanted = tariff_of(document)
    except TariffError as error:
        first = error.faults[0]
        rest = "".join(f"; {each.where}: {each.what}" for each in error.faults[1:])
        raise _unusable(file, f"{first.where}: {first.what}{rest}", first.expected) from error
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        version = TariffVersion(id=0, tariff=wanted, note=note, made_ms=clock_ms())
        with transaction(connection):
            added = add_tariff(connection, site, version)
            _note(connection, site.name, "add tariff", added)
    print(f"added tariff {_line(added)}")


@tariff.command("list")
@click.option("--withdrawn", is_flag=True, help="Also those that were withdrawn.")
@site_option
@json_option
@data_option
def list_all(site_name: str, data_dir: Path, *, withdrawn: bool, as_json: bool) -> None:
    """List the versions of a site's tariff, the oldest first.

    \b
    Example: joulebook tariff list --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        there = tariffs_of(connection, site.id, withdrawn=withdrawn)
    if as_json:
        print(json.dumps({"site": site.name, "tariffs": [_told(each) for each in there]}))
        return
    print("\n".join(map(_line, there)) or "no tariff")


@tariff.command("show")
@click.argument("number", type=int)
@site_option
@json_option
@data_option
def show_one(number: int, site_name: str, data_dir: Path, *, as_json: bool) -> None:
    """Show the tariff NUMBER, with its seasons and bands.

    \b
    Example: joulebook tariff show 1 --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        there = {each.id: each for each in tariffs_of(connection, site.id, withdrawn=True)}
    if number not in there:
        raise UsageError(
            f"site {site.name} has no tariff {number}",
            where="NUMBER",
            expected="one of " + ", ".join(map(str, there)) if there else "a tariff",
            next_step="list them with `joulebook tariff list --withdrawn`",
        )
    found = there[number]
    if as_json:
        print(json.dumps(_told(found)))
        return
    print("\n".join([_line(found), *_band_lines(found.tariff)]))


@tariff.command("withdraw")
@click.argument("number", type=int)
@site_option
@data_option
def withdraw(number: int, site_name: str, data_dir: Path) -> None:
    """Withdraw the tariff NUMBER, which was wrong; that it was entered stays on record.

    \b
    Example: joulebook tariff withdraw 1 --site studio --data DIR
    """
    with existing_database(data_dir) as database, closing(database.connect()) as connection:
        site = site_named(database, site_name)
        with transaction(connection):
            found = withdraw_tariff(connection, site, number, now_ms=clock_ms())
            _note(connection, site.name, "withdraw tariff", found)
    print(f"withdrew tariff {_line(found)}")


def _read(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"), parse_float=Decimal)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _unusable(file, str(error), "a file of TOML in UTF-8") from error


def _unusable(file: Path, what: str, expected: str) -> UsageError:
    return UsageError(
        f"the tariff cannot be used: {what}",
        where=file,
        expected=expected,
        next_step="mend it; docs/tariff.md shows a whole file. Nothing was stored",
    )


def _note(connection: Any, site: str, action: str, version: TariffVersion) -> None:
    detail = f"{version.id}: from {version.tariff.from_day}, {version.tariff.currency}"
    note_change(
        connection, Audited(at_ms=clock_ms(), who=_WHO, site=site, action=action, detail=detail)
    )


def _told(version: TariffVersion) -> dict[str, Any]:
    return {
        "id": version.id,
        **document_of(version.tariff),
        "note": version.note,
        "made_ms": version.made_ms,
        "withdrawn_ms": version.withdrawn_ms,
    }


def _line(version: TariffVersion) -> str:
    found = version.tariff
    bands = sum(len(season.bands) for season in found.seasons)
    parts = [
        str(version.id),
        f"from {found.from_day}",
        found.currency,
        f"{bands} band{'' if bands == 1 else 's'}",
        f"{found.fixed_per_day} a day and {found.fixed_per_month} a month",
        *([version.note] if version.note else []),
        *(["(withdrawn)"] if version.withdrawn_ms is not None else []),
    ]
    return "  ".join(parts)


def _band_lines(found: Tariff) -> list[str]:
    lines = []
    for season in found.seasons:
        first, last = (f"{month:02d}-{day:02d}" for month, day in (season.first, season.last))
        lines.append(f"{season.name or 'all year'}, {first} to {last}")
        lines += [
            f"  {clock_text(band.from_minute)} to {clock_text(band.to_minute)}"
            f"  {', '.join(band.days)}  bought at {band.import_price}, sold at {band.export_price}"
            for band in season.bands
        ]
    if found.listed_dates:
        lines.append("listed: " + ", ".join(day.isoformat() for day in found.listed_dates))
    return lines
