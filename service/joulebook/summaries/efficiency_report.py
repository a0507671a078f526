"""The efficiency document: round trip, conversion and idle draw of a window, and by quarter."""

from contextlib import closing
from datetime import date, timedelta

from joulebook.core.daily.days import DayResult
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset
from joulebook.core.losses.full_windows import round_trip_in
from joulebook.core.spans import Span, date_of, days_span
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.columns import unpacked
from joulebook.summaries.efficiency_document import round_trip_document
from joulebook.summaries.numbers import Document, date_text, number
from joulebook.summaries.reports import measured_days
from joulebook.summaries.site_records import StoredRecord, stored_record
from joulebook.summaries.windows import Efficiency, Window, efficiency_of

_RATIO = ("ratio", "low_ratio", "high_ratio")
_FULL_TO_FULL = [
    "between two full charges the stored energy is the same, so no state of charge is needed",
    "the current sensor's zero is found from what does not close from one full charge to the next",
    "its error of scale is the same in both directions, and cancels",
]


def efficiency_report(
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    *,
    record: StoredRecord | None = None,
) -> Document:
    """Return round trip, conversion and idle draw of the days from ``first`` to ``last``.

    The record's analysis is used where it tells of the window, and the days' sums where it does
    not; each number names its method. Of a window in which something was changed, the part after
    the newest change counts.

    Parameters
    ----------
    record : StoredRecord, optional
        An analysis up to ``last``; by default the stored one of the whole record.
    """
    window, days = measured_days(database, site, first, last)
    with closing(database.connect()) as connection:
        stored = record or stored_record(connection, site)
    newest = record is not None or (first is None and last is None)
    if stored is not None:
        window, days = _since_last_event(site, window, days, stored.document.get("events", []))
    by_days = efficiency_of(days, site, window)
    document = {"site": site.name, "timezone": site.timezone, **_by_days(by_days)}
    if stored is None or "reason" in stored.document:
        return document | {
            "quarters": [],
            "changes": [],
            "record": {"reason": why_no_record(stored)},
        }
    found = stored.document
    if window.first is not None and window.last is not None:
        span = days_span(window.first, window.last, site.zone)
        trip = _round_trip(found, span, site)
        if trip["ratio"] is not None or document["round_trip"]["ratio"] is None:
            document["round_trip"] = trip
    if newest and found["own_draw"] is not None:
        document |= _own_draw(found["own_draw"], document)
    return document | {
        "quarters": found["quarters"],
        "changes": found["changes"],
        "counters": found["counters"],
        "record": about_record(stored, site),
    }


def about_record(stored: StoredRecord, site: Site) -> Document:
    """Return which readings the analysis of the record knew."""
    document = stored.document
    return {
        "from": date_text(document["from_ms"], site.zone),
        "to": date_text(document["to_ms"] - 1, site.zone),
        "computed_ms": stored.computed_ms,
        "behind": stored.behind,
        "method": document["method"],
        "inputs": document["inputs"],
    }


def why_no_record(stored: StoredRecord | None) -> str:
    """Return why there is no analysis of a record."""
    if stored is None:
        return "the whole record has not been analysed yet; the service does so by itself"
    return str(stored.document["reason"])


def _since_last_event(
    site: Site, window: Window, days: list[DayResult], events: list[Document]
) -> tuple[Window, list[DayResult]]:
    """Return the newest part of a window: the whole days since something was last changed."""
    dated = [date_of(each["at_ms"], site.zone) for each in events]
    if not dated or window.last is None or window.first is None:
        return window, days
    inside = [day for day in dated if day <= window.last]
    after = max(inside, default=window.first - timedelta(days=1)) + timedelta(days=1)
    begins = min(max(after, window.first), window.last)
    return Window(begins, window.last), [day for day in days if day.date >= begins]


def _round_trip(document: Document, span: Span, site: Site) -> Document:
    trip = round_trip_in(
        unpacked(SegmentSums, document["segments"]),
        span,
        offset=unpacked(SensorOffset, document["offset"]),
        rated_ah=document["rated_ah"],
    )
    return round_trip_document(trip, site.zone) | {"assumptions": _FULL_TO_FULL}


def _own_draw(draw: Document, by_days: Document) -> Document:
    """Return the record's conversion and idle draw where they are given, and else the days'."""
    window = {name: draw[name] for name in ("from", "to")}
    inputs = {name: draw[name] for name in ("hours", "nights", "load_w")}
    found: Document = {"loss_w": draw["loss_w"] | window | {"inputs": inputs}}
    for name, value in (("conversion", "ratio"), ("idle_w", "value")):
        if draw[name][value] is not None or by_days[name][value] is None:
            found[name] = draw[name] | window | {"inputs": inputs, "assumptions": []}
    return found


def _by_days(found: Efficiency) -> Document:
    return {
        "round_trip": {
            **number(found.round_trip, *_RATIO),
            **_window(found.window),
            "inputs": found.round_trip_inputs,
            "assumptions": found.round_trip_assumptions,
        },
        "conversion": {
            **number(found.conversion, *_RATIO),
            **_window(found.window),
            "inputs": found.conversion_inputs,
            "assumptions": found.conversion_assumptions,
        },
        "idle_w": {
            **number(found.idle_w, "value"),
            **_window(found.window),
            "inputs": found.idle_inputs,
            "assumptions": found.idle_assumptions,
        },
    }


def _window(window: Window) -> Document:
    return {"from": window.first_iso, "to": window.last_iso}
