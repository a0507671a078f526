"""Calendar months of a site, from the results of its days."""

from collections import OrderedDict
from collections.abc import Hashable, Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from threading import Lock

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.core.spans import Span, days_span
from joulebook.storage.database import Database
from joulebook.storage.days import month_stamps
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.results import day_results_of
from joulebook.summaries.windows import efficiency_of, window_of
from joulebook.web.region import formats
from joulebook.web.spans.totals import coverage, elapsed_hours, totals_of

#: How many months are kept at hand, some kilobytes each: ten years of three sites.
_MOST_KEPT = 400


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


class SiteMonths:
    """The months of sites, each kept at hand until a day of it is computed anew.

    Parameters
    ----------
    database : Database
        Where the results of the days are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._kept: OrderedDict[tuple[Site, date], tuple[Hashable, Month | None]] = OrderedDict()
        self._lock = Lock()

    def of(self, site: Site, *, now_ms: int) -> tuple[Month, ...]:
        """Return the months of a site, the oldest first, those without any result too."""
        with closing(self._database.connect()) as connection:
            readings = readings_span(connection, site.id)
            stamps = month_stamps(connection, site.id)
        found: list[Month] = []
        for first, stamp in stamps.items():
            month = self._month(site, first, stamp, readings, now_ms=now_ms)
            if month is not None:
                _add(found, month, site, readings, now_ms=now_ms)
        return tuple(found)

    def _month(
        self, site: Site, first: date, stamp: Hashable, readings: Span | None, *, now_ms: int
    ) -> Month | None:
        """Return a month; ``None`` where none of its results counts."""
        last = _last_of(first)
        hours = elapsed_hours(first, last, zone=site.zone, now_ms=now_ms)
        whole = (stamp, window_of(readings, site, first, last), hours)
        with self._lock:
            kept, month = self._kept.get((site, first), (None, None))
        if kept == whole:
            return month
        days = day_results_of(self._database, site, first, last)
        month = _month(site, first, days, readings, now_ms=now_ms) if days else None
        with self._lock:
            self._kept[site, first] = (whole, month)
            self._kept.move_to_end((site, first))
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return month


def months_of(
    site: Site, days: Iterable[DayResult], *, readings: Span | None, now_ms: int
) -> tuple[Month, ...]:
    """Return the months from the first result to the last, those without any result too.

    ``days`` come in order and are taken one month at a time. ``readings`` is the span of all that
    the site has measured: efficiency is that of the part of a month within it.
    """
    months: list[Month] = []
    for first, within in groupby(days, key=lambda day: day.date.replace(day=1)):
        month = _month(site, first, list(within), readings, now_ms=now_ms)
        _add(months, month, site, readings, now_ms=now_ms)
    return tuple(months)


def _add(
    months: list[Month], month: Month, site: Site, readings: Span | None, *, now_ms: int
) -> None:
    """Add a month behind the others, and before it those between that have no result."""
    while months and (silent := _following(months[-1].first)) < month.first:
        months.append(_month(site, silent, [], readings, now_ms=now_ms))
    months.append(month)


def _month(
    site: Site, first: date, within: Sequence[DayResult], readings: Span | None, *, now_ms: int
) -> Month:
    last = _last_of(first)
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


def _last_of(first: date) -> date:
    return _following(first) - timedelta(days=1)
