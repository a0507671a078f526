"""Calendar months of a site, from the results of its days."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from joulebook.core.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.core.spans import date_of, days_span
from joulebook.storage.records import Site
from joulebook.summaries.windows import Window, efficiency_of
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
    """

    first: date
    name: str
    so_far: bool
    coverage_ratio: float
    totals: dict[str, Estimate]
    round_trip: Estimate
    conversion: Estimate
    idle_w: Estimate


def months_of(site: Site, days: Sequence[DayResult], *, now_ms: int) -> tuple[Month, ...]:
    """Return the months from the first result to the last, those without any result too."""
    if not days:
        return ()
    firsts = [days[0].date.replace(day=1)]
    while (following := _following(firsts[-1])) <= days[-1].date:
        firsts.append(following)
    return tuple(_month(site, first, days, now_ms=now_ms) for first in firsts)


def _month(site: Site, first: date, days: Sequence[DayResult], *, now_ms: int) -> Month:
    last = _following(first) - timedelta(days=1)
    within = [day for day in days if first <= day.date <= last]
    hours = elapsed_hours(first, last, zone=site.zone, now_ms=now_ms)
    window = Window(first, max(first, min(last, date_of(now_ms, site.zone))))
    efficiency = efficiency_of(within, site, window)
    return Month(
        first=first,
        name=formats.month_long(first),
        so_far=days_span(first, last, site.zone).end_ms > now_ms,
        coverage_ratio=coverage(within, hours=hours),
        totals=totals_of(within, hours=hours),
        round_trip=efficiency.round_trip,
        conversion=efficiency.conversion,
        idle_w=efficiency.idle_w,
    )


def _following(first: date) -> date:
    return (first + timedelta(days=31)).replace(day=1)
