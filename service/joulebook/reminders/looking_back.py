"""What days, checks and the record's analysis tell: looked at every hour."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from joulebook.core.alerts.evidence import (
    IDLE_BEFORE,
    IDLE_NOW,
    days_since_full,
    idle_jump_w,
    quiet_spread_mv,
    round_trip_drop_percent,
)
from joulebook.core.battery.fast_loss import METHOD as FAST_LOSS
from joulebook.core.history import MS_PER_DAY
from joulebook.core.losses.full_segments import SegmentSums
from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span, date_of
from joulebook.reminders.seen import Seen
from joulebook.storage.alerts import KeptWatch
from joulebook.storage.backup_notes import last_backup
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_device, readings_span
from joulebook.storage.records import Site
from joulebook.storage.room import room_of
from joulebook.summaries.checks_kept import keep_trouble
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.columns import unpacked
from joulebook.summaries.numbers import Document
from joulebook.summaries.record_document import UTC_ZONE
from joulebook.summaries.results import day_results_of
from joulebook.summaries.site_records import stored_record
from joulebook.summaries.stretches import series_names

_PARTS = ("segments", "capacity", "forecast", "warranty")
_SPREAD = frozenset({"cell_voltage_min", "cell_voltage_max", "current"})
_GB = 1e9


def seen_back(
    database: Database,
    connection: Connection,
    site: Site,
    watches: dict[tuple[str, str], KeptWatch],
    *,
    now_ms: int,
) -> Iterator[Seen]:
    """Yield what everything but the newest readings tells; nothing where there are none.

    Parameters
    ----------
    watches : dict
        How rules stand: for what is compared with its least.
    """
    measured = readings_span(connection, site.id)
    if measured is None:
        return
    yesterday = date_of(now_ms, site.zone) - timedelta(days=1)
    yield from _days(database, site, measured, yesterday)
    yield from _cells(connection, site, now_ms)
    checks = checks_report(database, site, None, None, now_ms=now_ms)
    keep_trouble(connection, site, checks, now_ms=now_ms)
    yield from _checks(checks, watches)
    stored = stored_record(connection, site, _PARTS)
    if stored is not None and "reason" not in stored.document:
        yield from _record(stored.document, site, now_ms)
    yield from _house(database.data_dir, measured, now_ms)


def _days(database: Database, site: Site, measured: Span, yesterday: date) -> Iterator[Seen]:
    first = yesterday - timedelta(days=IDLE_NOW + IDLE_BEFORE - 1)
    days = {day.date: day for day in day_results_of(database, site, first, yesterday)}
    whole = date_of(measured.start_ms, site.zone) < yesterday
    if whole and yesterday in days:
        missing = 100 * (1 - days[yesterday].coverage_ratio)
        yield Seen(
            rule="gap",
            value=missing,
            sentence=f"{missing:.0f} % of {yesterday} was not read",
        )
    nights = [
        days[day].night if day in days else None
        for day in (first + timedelta(days=n) for n in range(IDLE_NOW + IDLE_BEFORE))
    ]
    jump = idle_jump_w(nights)
    yield Seen(
        rule="idle-jump",
        value=jump,
        sentence=f"the inverter takes {jump or 0:.0f} W more for itself than in the weeks before",
    )


def _cells(connection: Connection, site: Site, now_ms: int) -> Iterator[Seen]:
    span = Span(now_ms - round(MS_PER_DAY), now_ms)
    for device, names in series_names(connection, site).items():
        if kind_of(device) != "battery" or not names >= _SPREAD:
            continue
        read = read_device(connection, site.id, device, span, quantities=sorted(_SPREAD)).values
        high, low = read["cell_voltage_max"], read["cell_voltage_min"]
        spread = quiet_spread_mv(high - low, (high + low) / 2, read["current"])
        yield Seen(
            rule="cell-spread",
            subject=device,
            value=spread,
            sentence=f"the cells of {device} are {spread or 0:.0f} mV apart while it rests",
        )


def _checks(document: Document, watches: dict[tuple[str, str], KeptWatch]) -> Iterator[Seen]:
    for check in document["checks"]:
        subject, name = check["device"] or "", check["name"]
        if name == "lugs" and "high_mohm" in check["evidence"]:
            found = check["evidence"]
            kept = watches.get(("lugs", subject))
            least = None if kept is None else kept.least
            rise = None if least is None else found["low_mohm"] - least
            yield Seen(
                rule="lugs",
                subject=subject,
                value=rise,
                sentence=f"{check['sentence']}; {least or 0:.1f} mΩ at the most before",
                level=found["high_mohm"],
            )
        elif name in ("legs", "neutral"):
            value = {"trouble": 1.0, "good": 0.0}.get(check["verdict"])
            yield Seen(rule=name, subject=subject, value=value, sentence=check["sentence"])


def _record(document: Document, site: Site, now_ms: int) -> Iterator[Seen]:
    segments = unpacked(SegmentSums, document["segments"])
    drop = round_trip_drop_percent(segments, now_ms)
    yield Seen(
        rule="round-trip-drop",
        value=drop,
        sentence=f"the battery gives back {drop or 0:.1f} % less than in the months before",
    )
    since = days_since_full(np.append(segments.from_ms, segments.to_ms[-1:]), now_ms)
    yield Seen(
        rule="never-full",
        value=since,
        sentence=f"the battery was last full {since or 0:.0f} days ago",
    )
    capacity = document["capacity"]
    if capacity["latest"]["ah"] is not None:
        fast = capacity["latest"]["method"] == FAST_LOSS
        yield Seen(
            rule="fast-loss",
            value=float(fast),
            sentence=capacity["cautions"][0].rstrip(".") if fast else "",
        )
    if site.warranty_floor_ratio is None or site.battery_ah is None:
        return  # assumed terms alarm nobody
    high_ah = capacity["latest"]["high_ah"]
    above = None
    if high_ah is not None:
        above = 100 * (high_ah / site.battery_ah - site.warranty_floor_ratio)
    yield Seen(
        rule="capacity-low",
        value=above,
        sentence=f"the battery holds {high_ah or 0:.0f} Ah at the most; "
        f"{site.warranty_floor_ratio:.0%} of {site.battery_ah:g} Ah are promised",
    )
    if site.warranty_years is not None:
        yield _forecast(document, now_ms)


def _forecast(document: Document, now_ms: int) -> Seen:
    forecast, ends = document["forecast"], date.fromisoformat(document["warranty"]["ends"])
    chance = forecast["probability_met"]
    if chance is None:
        return Seen(rule="forecast-low", value=None)
    left = (ends - date_of(now_ms, UTC_ZONE)).days / 30.44
    return Seen(
        rule="forecast-low",
        value=100 * chance,
        sentence=f"{min(max(100 * chance, 1), 99):.0f} of 100 futures hold the floor until {ends}; "
        f"{left:.0f} months are left to act",
    )


def _house(data_dir: Path, measured: Span, now_ms: int) -> Iterator[Seen]:
    try:
        room = room_of(data_dir)
    except OSError:
        return
    free = 100 * room.free_bytes / room.size_bytes if room.size_bytes else None
    yield Seen(
        rule="disk",
        value=free,
        sentence=f"{room.free_bytes / _GB:.1f} GB are free on the disk of the data directory",
    )
    backup = last_backup(data_dir)
    since_ms = measured.start_ms if backup is None else backup.at_ms
    days = (now_ms - since_ms) / MS_PER_DAY
    yield Seen(
        rule="backup",
        value=days,
        sentence="no backup was made yet"
        if backup is None
        else f"the last backup was made {days:.0f} days ago",
    )
