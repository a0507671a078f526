"""A record's analysis as a JSON document: what is stored, shown, and opened to its working."""

from dataclasses import asdict
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.battery.capacity import CapacityPoint, CapacityStatement
from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.battery.nights import Night, NightList
from joulebook.core.battery.pack_energy import PACK_ENERGY_DEFINITION
from joulebook.core.battery.resistance import PackResistance
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY
from joulebook.core.outlook.exposure import Exposure
from joulebook.core.records.record import RECORD_METHOD, Record
from joulebook.summaries.columns import packed
from joulebook.summaries.efficiency_document import (
    change_document,
    own_draw_document,
    round_trip_document,
)
from joulebook.summaries.forecast_document import forecast_document
from joulebook.summaries.numbers import (
    Document,
    date_text,
    midnights,
    number,
    rounded,
    short,
    suffixed,
    time_text,
)

#: The nights' quarters are those of UTC.
UTC_ZONE = ZoneInfo("UTC")


def record_document(record: Record, zone: ZoneInfo, words: tuple[str, ...]) -> Document:
    """Return all that a record tells, in plain numbers, texts and lists."""
    return {
        "method": RECORD_METHOD,
        "from_ms": record.span.start_ms,
        "to_ms": record.span.end_ms,
        "rated_ah": record.fit.unknowns.rated_ah,
        "events": [
            {"at_ms": event.at_ms, "kind": event.kind, "title": event.title}
            for event in record.events
        ],
        "inputs": list(words),
        "capacity": _capacity(record.capacity, zone),
        "energy": {
            **suffixed(record.energy.wh, "wh"),
            "definition": PACK_ENERGY_DEFINITION,
            "by_curve_wh": record.energy.by_curve_wh,
            "by_meter_wh": record.energy.by_meter_wh,
        },
        "fade": _fade(record, zone),
        "nights": _nights(record.nights, zone),
        "measured": _measured(record),
        "fit": _fit(record.fit),
        "offset": packed(record.offset),
        "segments": packed(record.segments),
        "quarters": [
            {"name": window.name, **round_trip_document(trip, zone)}
            for window, trip in record.quarters
        ],
        "counters": None if record.counters is None else asdict(record.counters),
        "own_draw": None if record.own_draw is None else own_draw_document(record.own_draw, zone),
        "through": _through(record, zone),
        "exposure": _exposure(record.exposure),
        "forecast": None if record.forecast is None else forecast_document(record.forecast, zone),
        "what_if": [
            {
                "cooler_c": each.cooler_c,
                "use_ratio": each.use_ratio,
                **forecast_document(each.forecast, zone, fan=False),
            }
            for each in record.what_if
        ],
        "changes": [change_document(event, found, zone) for event, found in record.changes],
        "claims": {
            name: getattr(record.claims, name) for name in record.claims.__dataclass_fields__
        },
    }


def _capacity(capacity: CapacityStatement, zone: ZoneInfo) -> Document:
    return {
        "points": [_point(point, zone) for point in capacity.points],
        "latest": _point(capacity.latest, zone),
        "cautions": list(capacity.cautions),
    }


def _point(point: CapacityPoint, zone: ZoneInfo) -> Document:
    return {
        "date": date_text(point.at_ms, zone),
        **suffixed(point.ah, "ah"),
        "sensor": suffixed(point.sensor_ah, "ah"),
        "health": suffixed(point.health, "ratio"),
    }


def _fade(record: Record, zone: ZoneInfo) -> Document:
    found = record.fade
    return {
        **number(found.per_year, "ratio_per_year"),
        "since_start": suffixed(found.since_start, "ratio"),
        "from": date_text(found.from_ms, zone),
        "to": date_text(found.to_ms, zone),
        "sentence": found.sentence,
    }


def _nights(nights: NightList, zone: ZoneInfo) -> Document:
    return {
        "list": [_night(night, zone) for night in nights.nights],
        "quarters": [
            {
                "from": date_text(each.start_ms, UTC_ZONE),
                "nights": each.nights,
                **suffixed(each.capacity, "ah"),
            }
            for each in nights.quarters
        ],
    }


def _night(night: Night, zone: ZoneInfo) -> Document:
    return {
        "full": time_text(night.full_ms, zone),
        "low": None if night.low_ms is None else time_text(night.low_ms, zone),
        "drawn_ah": round(night.drawn_ah, 2),
        "correction_ah": short(night.correction_ah, 2),
        "cell_v": short(night.cell_v, 4),
        "state_ratio": short(night.x_low, 4),
        "temperature_c": short(night.low_c, 1),
        "ah": short(night.implied_ah, 2),
        "low_ah": short(night.low_ah, 2),
        "high_ah": short(night.high_ah, 2),
        "counts": night.counts,
        "reason": night.reason or None,
    }


def _measured(record: Record) -> Document:
    measured, found = record.measured, record.measured.resistance
    years = (record.span.end_ms - record.span.start_ms) / (DAYS_PER_YEAR * MS_PER_DAY)
    evidence, held = measured.evidence, measured.held
    return {
        "resistance_ohm": (
            _resistance(found, years)
            if isinstance(found, PackResistance)
            else number(found, "value")
        ),
        "charge_v": None if held is None else float(np.median(held.level_v)),
        "voltmeter_zero_v": measured.zero_v,
        "flags": list(measured.flags),
        "evidence": {name: getattr(evidence, name) for name in evidence.__dataclass_fields__},
    }


def _resistance(found: PackResistance, years: float) -> Document:
    def at(temperature_c: float, when: float) -> float:
        return float(found.at(np.array([temperature_c]), np.array([when]))[0])

    return {
        **number(found.estimate(years, coverage_ratio=1.0), "value"),
        "at_25_c_first": at(25.0, 0.0),
        "at_5_c": at(5.0, years),
        "steps": found.steps,
        "span_c": list(found.span_c),
    }


def _fit(fit: CapacityFit) -> Document:
    """Return the unknowns beside the capacity, with their standard uncertainties."""
    unknowns = fit.unknowns
    u = np.sqrt(np.diag(fit.covariance))
    names = ("loss", "full_cold", "low_cold", "slow", "kept_below")
    return {
        "closings": fit.closings,
        "lows": fit.lows,
        "left_out": int(np.count_nonzero(fit.weight == 0)),
        "scale": rounded(fit.scale, 3),
        "unknowns": {
            name: {
                "value": float(fit.value[getattr(unknowns, name)]),
                "u": float(u[getattr(unknowns, name)]),
            }
            for name in names
        },
    }


def _through(record: Record, zone: ZoneInfo) -> Document:
    through = record.throughput
    edges = midnights(record.span, zone)
    return {
        "efc": number(through.efc, "total"),
        "charge_ah": number(through.charge_ah, "total"),
        "discharge_ah": number(through.discharge_ah, "total"),
        "charge_wh": number(through.charge_wh, "total"),
        "discharge_wh": number(through.discharge_wh, "total"),
        "filled_ratio": through.filled_ratio,
        "offset_removed": through.offset_removed,
        "by_day": {
            "first": date_text(record.span.start_ms, zone),
            "efc": rounded(record.through.efc_at(edges), 5),
        },
        "per_year": {
            "efc": record.usage.efc_rate,
            "discharge_wh": record.usage.discharge_rate_wh,
            "thermal_years": record.usage.thermal_rate,
        },
    }


def _exposure(found: Exposure) -> Document:
    return {
        name: number(getattr(found, name), "value")
        for name in found.__dataclass_fields__
        if name != "span"
    }
