"""``joulebook show``: the documents of the JSON API, for people or as they are."""

import json
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from joulebook.cli.money_lines import money_lines
from joulebook.cli.options import (
    clock_ms,
    data_option,
    day_of,
    existing_database,
    json_option,
    settings_of,
    site_option,
    span_options,
)
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.loads_report import loads_report
from joulebook.summaries.money_report import money_report
from joulebook.summaries.numbers import Document
from joulebook.summaries.recompute import catch_up
from joulebook.summaries.record_update import update_record
from joulebook.summaries.reports import days_report
from joulebook.summaries.site_records import record_of_days
from joulebook.summaries.wear_report import wear_report


def _checks(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    return checks_report(database, site, first, last, now_ms=clock_ms())


def _loads(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    return loads_report(database, site, first, last, now_ms=clock_ms())


def _money(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    efficiency = efficiency_report(database, site, None, None)
    return money_report(database, site, first, last, efficiency=efficiency, now_ms=clock_ms())


_REPORTS = {"days": days_report, "loads": _loads, "checks": _checks, "money": _money}
_OF_THE_RECORD = {"efficiency": efficiency_report, "wear": wear_report}


@click.command()
@click.argument("report", type=click.Choice(sorted(_REPORTS | _OF_THE_RECORD)))
@site_option
@span_options
@json_option
@data_option
def show(
    report: str,
    site_name: str,
    first: datetime | None,
    last: datetime | None,
    data_dir: Path,
    *,
    as_json: bool,
) -> None:
    """Show days, efficiency, wear, loads, checks or money of a site.

    What is behind its readings, after an import, is computed first. With --to, efficiency and wear
    are what was to be told on that day.

    \b
    Example: joulebook show days --site studio --from 2026-07-01 --data DIR
             joulebook show efficiency --site studio --json --data DIR
    """
    with existing_database(data_dir) as database:
        site = site_named(database, site_name)
        max_gap_s = settings_of(data_dir).max_gap_s
        catch_up(database, site, clock_ms=clock_ms, max_gap_s=max_gap_s)
        document = _document(report, database, site, day_of(first), day_of(last), max_gap_s)
    if as_json:
        print(json.dumps(document, indent=2, allow_nan=False))
    else:
        print("\n".join(lines_of(report, document)))


def _document(
    report: str,
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    max_gap_s: float,
) -> Document:
    whole = first is None and last is None
    if report in ("loads", "money") or (whole and report in _OF_THE_RECORD):
        update_record(database, site, clock_ms=clock_ms, max_gap_s=max_gap_s)
    if report in _REPORTS:
        return _REPORTS[report](database, site, first, last)
    record = None
    if not whole:
        record = record_of_days(database, site, first, last, clock_ms=clock_ms, max_gap_s=max_gap_s)
    return _OF_THE_RECORD[report](database, site, first, last, record=record)


def _kwh(value_wh: float | None) -> str:
    return "not given" if value_wh is None else f"{value_wh / 1000:.2f} kWh"


def _percent(ratio: float | None) -> str:
    return "not given" if ratio is None else f"{ratio * 100:.1f}%"


def _days_lines(document: dict[str, Any]) -> list[str]:
    return [
        f"{day['date']}  charged {_kwh(day['battery_charge_wh'])}  "
        f"discharged {_kwh(day['battery_discharge_wh'])}  panels {_kwh(day['pv_wh'])}  "
        f"used {_kwh(day['load_wh'])}  {day['coverage_ratio'] * 100:.0f}% measured"
        for day in document["days"]
    ] or ["no day has a result yet"]


def _efficiency_lines(document: dict[str, Any]) -> list[str]:
    trip = document["round_trip"]
    if trip["ratio"] is None:
        return [f"round trip not given: {trip['reason']}"]
    return [
        f"round trip {_percent(trip['ratio'])} "
        f"({_percent(trip['low_ratio'])} to {_percent(trip['high_ratio'])}), "
        f"{trip['from']} to {trip['to']}"
    ]


def _odds(ratio: float) -> str:
    """Return odds as per cent; a forecast is never certain."""
    if ratio > 0.99:
        return "more than 99%"
    return "less than 1%" if ratio < 0.01 else f"{ratio * 100:.0f}%"


def _wear_lines(document: dict[str, Any]) -> list[str]:
    total = document["efc"]["total"]
    lines = [
        f"equivalent full cycles not given: {document['efc']['reason']}"
        if total is None
        else f"{total:.1f} equivalent full cycles"
    ]
    if document["capacity"]:
        now = document["capacity"][-1]
        lines.append(
            f"capacity not given: {now['reason']}"
            if now["ah"] is None
            else f"capacity {now['ah']:.1f} Ah ({now['low_ah']:.1f} to {now['high_ah']:.1f}), "
            f"{now['date']}"
        )
    else:
        lines.append(f"capacity not given: {document['capacity_reason']}")
    fade, warranty = document["fade"], document["warranty"]
    lines.append(fade.get("sentence") or f"fade not given: {fade['reason']}")
    met = warranty["probability_met"]
    lines.append(
        f"warranty odds not given: {warranty['reason']}"
        if met is None
        else f"{_odds(met)} that it holds {warranty['floor_ratio']:.0%} until {warranty['ends']}: "
        f"{warranty['verdict']}"
    )
    return lines


def _checks_lines(document: dict[str, Any]) -> list[str]:
    if not document["checks"]:
        return [f"nothing to check: {document['reason']}"]
    lines = []
    for check in document["checks"]:
        about = f"{check['device']} {check['name']}" if check["device"] else check["name"]
        lines.append(f"{check['verdict']:8} {about}: {check['sentence']}")
        if check["verdict"] == "trouble":
            told = (("look at", check["look_at"]), ("caution", check["caution"]))
            lines += [f"         {word}: {text}" for word, text in told if text]
    return lines


def _hours(entry: dict[str, Any]) -> str:
    if entry["value"] is None:
        return f"not given: {entry['reason']}"
    return f"{entry['value']:.1f} h ({entry['low']:.1f} to {entry['high']:.1f})"


def _loads_lines(document: dict[str, Any]) -> list[str]:
    if not document["hours"]:
        lines = [f"hours left not given: {document['hours_reason']}"]
    else:
        at = {"now": "the present load", "night": "the load of a usual night"}
        lines = [f"as of {document['as_of']}, without sun and grid:"] + [
            f"until {each['until']} is left, at {at[each['load']]}: {_hours(each)}"
            if each["until"] != "empty"
            else f"until empty, at {at[each['load']]}: {_hours(each)}"
            for each in document["hours"]
        ]
    starts, outages = document["starts"], document["outages"]
    if "reason" in starts:
        lines.append(f"starts not given: {starts['reason']}")
    else:
        lines += [
            f"start of {each['step_w']['value']:.0f} W, seen {each['count']} times, "
            f"up to {each['peak_w']['value']:.0f} W at least, the largest {each['at']}"
            for each in starts["list"]
        ] or ["no start of 200 W or more"]
        lines.append(starts["limits"])
    if "reason" in outages:
        lines.append(f"outages not given: {outages['reason']}")
    else:
        lines.append(f"outages: {outages['count']}, from {outages['from']} to {outages['to']}")
    return lines


_LINES = {
    "days": _days_lines,
    "efficiency": _efficiency_lines,
    "wear": _wear_lines,
    "loads": _loads_lines,
    "checks": _checks_lines,
    "money": money_lines,
}


def lines_of(report: str, document: Document) -> list[str]:
    """Return a report's document as lines for a person."""
    return _LINES[report](document)
