"""The checks document: whether a site is wired and talking right, by its last days' readings."""

from contextlib import closing
from datetime import date, timedelta

from joulebook.core import corrections as correcting
from joulebook.core.checks.finding import METHOD, Finding
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.checks.run import run_checks
from joulebook.core.curves import MAX_GAP_S
from joulebook.core.history import MS_PER_DAY
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import Span, date_of, dates, local_day
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_device, readings_span
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.stretches import series_names

#: How many local days are looked at, the last of them up to now (our choice).
DAYS = 7


def checks_report(
    database: Database, site: Site, first: date | None, last: date | None, *, now_ms: int
) -> Document:
    """Return what the checks find in the days from ``first`` to ``last``.

    Without dates they are the last seven days that readings reach. Today counts up to now; of
    days that are over, the last counts up to its end.
    """
    with closing(database.connect()) as connection:
        measured = readings_span(connection, site.id)
        days = () if measured is None else _days(site, measured, first, last, now_ms)
        if measured is None or not days:
            return {
                "site": site.name,
                "timezone": site.timezone,
                "method": METHOD,
                "from": None,
                "to": None,
                "checks": [],
                "reason": "no readings were taken in these days",
            }
        inputs = CheckInputs(
            days=days,
            devices=_devices(connection, site, days),
            site_series=series_names(connection, site),
            battery_ah=site.battery_ah,
            battery_cells=site.battery_cells,
            inverter_w=site.inverter_w,
        )
    return {
        "site": site.name,
        "timezone": site.timezone,
        "method": METHOD,
        "from": date_of(days[0].start_ms, site.zone).isoformat(),
        "to": date_of(days[-1].end_ms - 1, site.zone).isoformat(),
        "up_to_ms": days[-1].end_ms,
        "newest_ms": measured.end_ms - 1,
        "checks": [_check(each) for each in run_checks(inputs)],
    }


def _days(
    site: Site, measured: Span, first: date | None, last: date | None, now_ms: int
) -> tuple[Span, ...]:
    """Return the local days to look at.

    Without dates they end now, so that a silence shows; a site that has been silent for longer
    than them is looked at where it spoke last.
    """
    newest = date_of(min(measured.end_ms - 1, now_ms), site.zone)
    end = min(last or newest, date_of(now_ms, site.zone))
    begin = first or end - timedelta(days=DAYS - 1)
    oldest = date_of(measured.start_ms, site.zone)
    spans = [local_day(day, site.zone) for day in dates(max(begin, oldest), end)]
    days = [
        Span(each.start_ms, min(each.end_ms, now_ms)) for each in spans if each.start_ms < now_ms
    ]
    if days and last is None and now_ms - days[-1].end_ms < DAYS * MS_PER_DAY:
        days[-1] = Span(days[-1].start_ms, max(now_ms, days[-1].end_ms))
    return tuple(each for each in days if each.length_s > 0)


def _devices(connection: Connection, site: Site, days: tuple[Span, ...]) -> dict[str, DeviceArrays]:
    span = Span(days[0].start_ms, days[-1].end_ms)
    corrections = corrections_of(connection, site.id)
    devices = {}
    for device in series_names(connection, site):
        read = read_device(connection, site.id, device, span, margin_ms=round(MAX_GAP_S * 1000))
        devices[device] = DeviceArrays(
            read.at_ms,
            {
                name: correcting.apply(corrections, device, name, read.at_ms, values)
                for name, values in read.values.items()
            },
        )
    return devices


def _check(found: Finding) -> Document:
    return {
        "name": found.name,
        "device": found.device,
        "verdict": found.verdict,
        "sentence": found.sentence,
        "evidence": dict(found.evidence),
        "look_at": found.look_at,
        "caution": found.caution,
        "coverage_ratio": found.coverage_ratio,
        "method": found.method,
    }
