"""The part of the loads document about outages: how the house came through each."""

from joulebook.core.loads.outages import Away, outage
from joulebook.core.spans import Span
from joulebook.storage.records import Site
from joulebook.summaries.load_readings import LoadReadings
from joulebook.summaries.numbers import Document, date_text, number, time_text

#: So many outages are told, the newest; there can be more.
MOST_OUTAGES = 50

UNKNOWN_GRID = "the site measures neither the grid's voltage nor its frequency"


def outages_document(site: Site, readings: LoadReadings, span: Span) -> Document:
    """Return the outages that began in a span, the newest first."""
    dates = {
        "from": date_text(span.start_ms, site.zone),
        "to": date_text(span.end_ms - 1, site.zone),
    }
    level = readings.grid_level()
    if level is None:
        return dates | {"list": [], "reason": UNKNOWN_GRID}
    away, coverage = readings.away(span)
    if not coverage:
        return dates | {"list": [], "reason": "the grid's voltage was not measured in these days"}
    device, names = level
    return dates | {
        "list": [_outage(site, readings, each) for each in away[: -MOST_OUTAGES - 1 : -1]],
        "count": len(away),
        "coverage_ratio": coverage,
        "told_by": f"{device}: {' and '.join(names)} below half of what it usually is",
    }


def _outage(site: Site, readings: LoadReadings, away: Away) -> Document:
    loads = readings.loads(away.span)
    found = outage(
        away,
        None if loads is None else loads[0],
        readings.battery("voltage", away.span),
        readings.battery("cell_voltage_min", away.span),
    )
    return {
        "began": time_text(away.span.start_ms, site.zone),
        "began_ms": away.span.start_ms,
        "ended": time_text(away.span.end_ms, site.zone) if away.over else None,
        "length_s": number(found.length_s, "value"),
        "given_wh": number(found.given_wh, "value"),
        "lowest_v": number(found.lowest_v, "value"),
        "lowest_cell_v": number(found.lowest_cell_v, "value"),
        "carried": found.carried,
        "on_ratio": found.on_ratio,
    }
