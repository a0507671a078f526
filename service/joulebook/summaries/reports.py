"""The JSON documents of the contract; the command line prints them and the API returns them.

A number that cannot be given is null, with the reason beside it.
"""

from contextlib import closing
from datetime import date

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.core.spans import dates, local_day
from joulebook.storage.database import Database
from joulebook.storage.days import dirty_days
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.recompute import ALL_DAYS
from joulebook.summaries.results import day_results_of
from joulebook.summaries.stretches import series_names
from joulebook.summaries.windows import Window, window_of

__all__ = ["day_results_of", "days_report"]


def days_report(database: Database, site: Site, first: date | None, last: date | None) -> Document:
    """Return one entry a local day, in order; each with its intervals, coverage and reasons.

    A day without any reading between days that have some is there too, all null. A day that is
    not computed yet is not.
    """
    window, results = measured_days(database, site, first, last)
    return {
        "site": site.name,
        "timezone": site.timezone,
        "days": [_day(day) for day in _with_silent_days(database, site, window, results)],
    }


def measured_days(
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
        waiting = {each.day for each in dirty_days(connection, ALL_DAYS, site_id=site.id)}
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
