"""The results of an evidence file as one JSON document, its headline first."""

from dataclasses import asdict
from datetime import date
from typing import Any

import msgspec

from joulebook.core.spans import days_span
from joulebook.evidence.gathered import Gathered
from joulebook.evidence.raw import RawReadings
from joulebook.evidence.tables import instant
from joulebook.storage.site_facts import facts_of
from joulebook.summaries.numbers import Document

#: What the documents hold that has a table of its own.
_IN_TABLES = frozenset({"nights", "what_if"})


def results_json(gathered: Gathered, raw: RawReadings) -> bytes:
    """Return the document, its keys in the order of their making, two spaces deep."""
    document = {
        "made": instant(gathered.made_ms),
        "by": f"joulebook {gathered.version}",
        "headline": headline(gathered),
        "site": {
            "name": gathered.site.name,
            "timezone": gathered.site.timezone,
            **{fact: _plain(value) for fact, value in facts_of(gathered.site).items()},
        },
        "readings": {
            "from": raw.begins,
            "whole_record": raw.whole,
            "series": [f"{each.device}.{each.quantity}" for each in raw.series],
        },
        "chain": {
            "links": len(gathered.links),
            "head": gathered.links[-1].hash.hex() if gathered.links else None,
            "differing": gathered.differing,
        },
        "sign_offs": [
            {"at": instant(each.at_ms), "name": each.name, "role": each.role}
            | {"sha256": each.sha256, "whole": each.is_whole}
            for each in gathered.sign_offs
        ],
        "kept": None if gathered.measurements is None else asdict(gathered.measurements.kept),
        "wear": {name: part for name, part in gathered.wear.items() if name not in _IN_TABLES},
        "efficiency": gathered.efficiency,
    }
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def headline(gathered: Gathered) -> dict[str, Document]:
    """Return the numbers that the checker works out anew; each with interval, or its reason."""
    wear, trip = gathered.wear, gathered.efficiency["round_trip"]
    exposed = wear.get("exposure")
    latest = wear.get("capacity_latest") or {"reason": wear.get("capacity_reason")}
    return {
        "capacity_ah": _named(latest, "ah", "low_ah", "high_ah"),
        "fade": _named(wear["fade"], "ratio_per_year"),
        "efc": _named(wear["efc"], "total"),
        "round_trip": _named(trip, "ratio", "low_ratio", "high_ratio") | _window_ms(gathered, trip),
        "hours_above_35": _exposed(exposed, "hot_h"),
        "hours_above_45": _exposed(exposed, "very_hot_h"),
        "freezing_h": _exposed(exposed, "freezing_charging_h"),
    }


def _named(document: Document, value: str, low: str = "low", high: str = "high") -> Document:
    names = {"value": value, "low": low, "high": high}
    return {
        **{name: document.get(source) for name, source in names.items()},
        **{
            name: document[name]
            for name in ("coverage_ratio", "method", "reason")
            if name in document
        },
    }


def _exposed(exposed: Document | None, name: str) -> Document:
    if exposed is None:
        return {"value": None, "low": None, "high": None, "reason": "nothing was measured"}
    return _named(exposed[name], "value")


def _window_ms(gathered: Gathered, trip: Document) -> Document:
    """Return the window of a round trip as instants; nothing where it has none."""
    if trip.get("from") is None or trip.get("to") is None:
        return {}
    first, last = (date.fromisoformat(trip[name]) for name in ("from", "to"))
    span = days_span(first, last, gathered.site.zone)
    return {"from_ms": span.start_ms, "to_ms": span.end_ms}


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
