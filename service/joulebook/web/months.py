"""Calendar months of a site, from the results of its days."""

from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.core.spans import Span, days_span
from joulebook.storage.database import Database
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.results import day_results_in_turn
from joulebook.summaries.windows import efficiency_of, window_of
from joulebook.web import formats
from joulebook.web.totals import coverage, elapsed_hours, totals_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """One month: its totals by field name, and what its days say of efficiency.

    Attributes
    ----------
    first : date
        Its first day.
    name : str
        "November 2026".
    so_far : bool
        Whether it is not over.
    coverage_ratio : float
        Measured share of the month, or of what has passed of it.
    totals : dict of str to Estimate
        Energies [Wh] and equivalent full cycles.
    round_trip, conversion : Estimate
        DC energy out of the battery by energy into it; AC by DC of the inverter. [ratio]
    idle_w : Estimate
        What the inverter takes for itself. [W]
    assumptions : dict of str to list of str
        What each of the last three takes for granted.
    """

    first: date
    name: str
    so_far: bool
    coverage_ratio: float
    totals: dict[str, Estimate]
    round_trip: Estimate
    conversion: Estimate
    idle_w: Estimate
    assumptions: dict[str, list[str]]


def site_months(database: Database, site: Site, *, now_ms: int) -> tuple[Month, ...]:
    """Return the months of a site, the oldest first."""
    with closing(database.connect()) as connection:
        readings = readings_span(connection, site.id)
    days = day_results_in_turn(database, site, None, None)
    return months_of(site, days, readings=readings, now_ms=now_ms)


def months_of(
    site: Site, days: Iterable[DayResult], *, readings: Span | None, now_ms: int
) -> tuple[Month, ...]:
    """Return the months from the first result to the last, those without any result too.

    ``days`` come in order and are taken one month at a time. ``readings`` is the span of all that
    the site has measured: efficiency is that of the part of a month within it.
    """
    months: list[Month] = []
    for first, within in groupby(days, key=lambda day: day.date.replace(day=1)):
        while months and (silent := _following(months[-1].first)) < first:
            months.append(_month(site, silent, [], readings, now_ms=now_ms))
        months.append(_month(site, first, list(within), readings, now_ms=now_ms))
    return tuple(months)


def _month(
    site: Site, first: date, within: Sequence[DayResult], readings: Span | None, *, now_ms: int
) -> Month:
    last = _following(first) - timedelta(days=1)
    hours = elapsed_hours(first, last, zone=site.zone, now_ms=now_ms)
    efficiency = efficiency_of(within, site, window_of(readings, site, first, last))
    return Month(
        first=first,
        name=formats.month_long(first),
        so_far=days_span(first, last, site.zone).end_ms > now_ms,
        coverage_ratio=coverage(within, hours=hours),
        totals=totals_of(within, hours=hours),
        round_trip=efficiency.round_trip,
        conversion=efficiency.conversion,
        idle_w=efficiency.idle_w,
        assumptions={
            "round_trip": efficiency.round_trip_assumptions,
            "conversion": efficiency.conversion_assumptions,
            "idle_w": efficiency.idle_assumptions,
        },
    )


def _following(first: date) -> date:
    return (first + timedelta(days=31)).replace(day=1)
