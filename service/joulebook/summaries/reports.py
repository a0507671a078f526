"""The JSON documents of the contract; the command line prints them and the API returns them.

A number that cannot be given is null, with the reason beside it.
"""

from contextlib import closing
from datetime import date
from typing import Any

from joulebook.core.days import DayInputs, DayResult, compute_day
from joulebook.core.estimate import Estimate
from joulebook.core.spans import dates, local_day
from joulebook.storage.database import Database
from joulebook.storage.days import dirty_days
from joulebook.storage.reading import latest_readings, readings_span
from joulebook.storage.records import Latest, Site
from joulebook.summaries.recompute import ALL_DAYS
from joulebook.summaries.results import day_results_of
from joulebook.summaries.stretches import series_names
from joulebook.summaries.wear import Wear, wear_of
from joulebook.summaries.windows import Efficiency, Window, efficiency_of, window_of

__all__ = ["day_results_of", "days_report", "efficiency_report", "wear_report"]

Document = dict[str, Any]


def days_report(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    """Return one entry a local day, in order; each with its intervals, coverage and reasons.

    A day without any reading between days that have some is there too, all null. A day that is
    not computed yet is not.
    """
    window, results = _measured(database, site, first, last)
    return {
        "site": site.name,
        "timezone": site.timezone,
        "days": [_day(day) for day in _with_silent_days(database, site, window, results)],
    }


def efficiency_report(
    database: Database, site: Site, first: date | None, last: date | None
) -> Document:
    """Return round trip, conversion and idle draw of the days from ``first`` to ``last``."""
    window, days = _measured(database, site, first, last)
    found = efficiency_of(days, site, window)
    return {"site": site.name, "timezone": site.timezone, **_efficiency(found)}


def wear_report(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    """Return cycles and what is known of capacity and warranty."""
    window, days = _measured(database, site, first, last)
    found = wear_of(days, site, window)
    with closing(database.connect()) as connection:
        claims = [
            latest
            for latest in latest_readings(connection, site.id)
            if latest.series.quantity == "soh"
        ]
    return {"site": site.name, "timezone": site.timezone, **_wear(found, site, claims)}


def _measured(
    database: Database, site: Site, first: date | None, last: date | None
) -> tuple[Window, list[DayResult]]:
    """Return the window, no longer than there are readings, and the results in it."""
    with closing(database.connect()) as connection:
        window = window_of(readings_span(connection, site.id), site, first, last)
    if window.first is None:
        return window, []
    return window, day_results_of(database, site, window.first, window.last)


def _with_silent_days(
    database: Database, site: Site, window: Window, results: list[DayResult]
) -> list[DayResult]:
    if window.first is None or window.last is None:
        return []
    with closing(database.connect()) as connection:
        names = series_names(connection, site)
        waiting = {day.day for day in dirty_days(connection, ALL_DAYS) if day.site_id == site.id}
    by_date = {result.date: result for result in results}
    return [
        by_date[day] if day in by_date else _silent(day, site, names)
        for day in dates(window.first, window.last)
        if day in by_date or day not in waiting
    ]


def _silent(day: date, site: Site, names: dict[str, frozenset[str]]) -> DayResult:
    return compute_day(
        DayInputs(
            day=day,
            span=local_day(day, site.zone),
            devices={},
            site_series=names,
            battery_ah=site.battery_ah,
            battery_cells=site.battery_cells,
        )
    )


def _day(result: DayResult) -> Document:
    numbers = result.numbers
    return {
        "date": result.date.isoformat(),
        "hours": result.hours,
        "coverage_ratio": result.coverage_ratio,
        **{name: number.value for name, number in numbers.items()},
        "intervals": {
            name: [number.low, number.high]
            for name, number in numbers.items()
            if number.low is not None
        },
        "coverage": {name: number.coverage_ratio for name, number in numbers.items()},
        "methods": {name: number.method for name, number in numbers.items()},
        "reasons": {
            name: number.reason for name, number in numbers.items() if number.reason is not None
        },
        "readings": result.readings,
        "inputs": list(result.inputs),
        "method": result.method,
    }


def _number(number: Estimate, value: str, low: str = "low", high: str = "high") -> Document:
    """Return an estimate under the contract's names."""
    document: Document = {
        value: number.value,
        low: number.low,
        high: number.high,
        "coverage_ratio": number.coverage_ratio,
        "method": number.method,
    }
    if number.reason is not None:
        document["reason"] = number.reason
    return document


def _efficiency(found: Efficiency) -> Document:
    window = {"from": found.window.first_iso, "to": found.window.last_iso}
    ratio = ("ratio", "low_ratio", "high_ratio")
    return {
        "round_trip": {
            **_number(found.round_trip, *ratio),
            **window,
            "inputs": found.round_trip_inputs,
            "assumptions": found.round_trip_assumptions,
        },
        "conversion": {
            **_number(found.conversion, *ratio),
            **window,
            "inputs": found.conversion_inputs,
            "assumptions": found.conversion_assumptions,
        },
        "idle_w": {
            **_number(found.idle_w, "value"),
            **window,
            "inputs": found.idle_inputs,
            "assumptions": found.idle_assumptions,
        },
    }


def _wear(found: Wear, site: Site, claims: list[Latest]) -> Document:
    not_measured = "this version does not measure capacity yet"
    unknown = {"low": None, "high": None, "reason": not_measured}
    return {
        "from": found.window.first_iso,
        "to": found.window.last_iso,
        "efc": {**_number(found.efc, "total"), "rated_ah": site.battery_ah},
        "throughput": {
            "charge_wh": _number(found.charge_wh, "total"),
            "discharge_wh": _number(found.discharge_wh, "total"),
        },
        "depths": {
            "method": found.depths_method,
            "bins": [
                {"from_ratio": each.from_ratio, "to_ratio": each.to_ratio, "count": each.count}
                for each in found.depths
            ],
        },
        "capacity": [],
        "capacity_reason": not_measured,
        "fade": {"ratio_per_year": None, **unknown},
        "warranty": {
            "ends": found.warranty_ends.isoformat() if found.warranty_ends else None,
            "ends_reason": found.warranty_reason,
            "floor_ratio": site.warranty_floor_ratio,
            "throughput_wh": site.warranty_throughput_wh,
            "expected_ratio": None,
            **unknown,
            "probability_met": None,
            "verdict": None,
        },
        "claims": [
            {
                "device": claim.series.device,
                "soh_ratio": claim.value,
                "at_ms": claim.at_ms,
                "note": "what the battery says of itself; no evidence of capacity",
            }
            for claim in claims
        ],
    }
