"""The wear document: cycles, capacity, fade, the warranty's odds, and what the battery claims."""

from contextlib import closing
from datetime import date
from typing import Any

from joulebook.core.spans import dates
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from joulebook.summaries.efficiency_report import about_record, why_no_record
from joulebook.summaries.numbers import Document, number, unknown
from joulebook.summaries.reports import measured_days
from joulebook.summaries.site_records import StoredRecord, stored_record
from joulebook.summaries.warranty import warranty_of
from joulebook.summaries.wear import Wear, wear_of
from joulebook.summaries.windows import Window

_PARTS = ("energy", "nights", "measured", "fit", "exposure", "what_if", "cautions")


def wear_report(
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    *,
    record: StoredRecord | None = None,
) -> Document:
    """Return cycles of the days from ``first`` to ``last``, and what the whole record tells.

    Parameters
    ----------
    record : StoredRecord, optional
        An analysis up to ``last``; by default the stored one of the whole record.
    """
    window, days = measured_days(database, site, first, last)
    with closing(database.connect()) as connection:
        stored = record or stored_record(connection, site)
        latest = _claims(connection, site)
    document = {
        "site": site.name,
        "timezone": site.timezone,
        **_by_days(wear_of(days, site, window), site),
    }
    if stored is None or "reason" in stored.document:
        reason = why_no_record(stored)
        unmeasured = _unmeasured(site, window, reason)
        return document | unmeasured | {"claims": latest, "record": {"reason": reason}}
    found = stored.document
    efc = _efc(found, window)
    if efc is not None:
        document["efc"] = efc | {"rated_ah": site.battery_ah}
    capacity = found["capacity"]
    return document | {
        "capacity": capacity["points"],
        "capacity_latest": capacity["latest"],
        **({} if capacity["points"] else {"capacity_reason": capacity["latest"]["reason"]}),
        "capacity_cautions": capacity["cautions"],
        "fade": found["fade"],
        "warranty": _warranty(found),
        "claims": latest,
        "claims_compared": found["claims"],
        **{name: found[name] for name in _PARTS if name in found},
        "record": about_record(stored, site),
    }


def _by_days(found: Wear, site: Site) -> Document:
    return {
        "from": found.window.first_iso,
        "to": found.window.last_iso,
        "efc": {**number(found.efc, "total"), "rated_ah": site.battery_ah},
        "throughput": {
            "charge_wh": number(found.charge_wh, "total"),
            "discharge_wh": number(found.discharge_wh, "total"),
        },
        "depths": {
            "method": found.depths_method,
            "bins": [
                {"from_ratio": each.from_ratio, "to_ratio": each.to_ratio, "count": each.count}
                for each in found.depths
            ],
        },
    }


def _unmeasured(site: Site, window: Window, reason: str) -> Document:
    first = window.first or site.installed
    return {
        "capacity": [],
        "capacity_reason": reason,
        "fade": unknown(("ratio_per_year", "low", "high"), reason),
        "warranty": {
            "ends": None if first is None else warranty_of(site, first).ends.isoformat(),
            "floor_ratio": site.warranty_floor_ratio,
            "throughput_wh": site.warranty_throughput_wh,
            **unknown(("expected_ratio", "low", "high", "probability_met", "verdict"), reason),
        },
    }


def _efc(found: Document, window: Window) -> Document | None:
    """Return the full cycles of a window by the record, whose offset is removed.

    ``None`` where the window reaches days that the record does not know.
    """
    by_day: list[float] = found["through"]["by_day"]["efc"]
    begins = date.fromisoformat(found["through"]["by_day"]["first"])
    whole: Document = found["through"]["efc"]
    if window.first is None or window.last is None or whole["total"] is None:
        return None
    first = (window.first - begins).days
    last = first + len(list(dates(window.first, window.last)))
    if first < 0 or last >= len(by_day):
        return None
    if first == 0 and last == len(by_day) - 1:
        return dict(whole)
    part = by_day[last] - by_day[first]
    share = part / whole["total"] if whole["total"] else 0.0
    return whole | {"total": part, "low": share * whole["low"], "high": share * whole["high"]}


def _warranty(found: Document) -> Document:
    terms, forecast = found["warranty"], found["forecast"]
    return {
        "begins": terms["begins"],
        "ends": terms["ends"],
        "floor_ratio": terms["floor_ratio"],
        "throughput_wh": terms["throughput_wh"],
        "assumed": terms["assumed"],
        **forecast,
    }


def _claims(connection: Connection, site: Site) -> list[dict[str, Any]]:
    return [
        {
            "device": latest.series.device,
            "soh_ratio": latest.value,
            "at_ms": latest.at_ms,
            "note": "what the battery says of itself; no evidence of capacity",
        }
        for latest in latest_readings(connection, site.id)
        if latest.series.quantity == "soh"
    ]
