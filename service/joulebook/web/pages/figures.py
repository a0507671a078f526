"""Figures as JSON documents, fetched by a page once its numbers are painted."""

from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from joulebook.core.spans import Span, date_of, dates, days_span, local_day
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.reports import day_results_of
from joulebook.web.asked import asked_week, asked_width
from joulebook.web.backing import Backing
from joulebook.web.figures.day import day_figure
from joulebook.web.figures.efficiency import efficiency_figure
from joulebook.web.figures.events import Place, among, on_dates, since, with_events
from joulebook.web.figures.layout import AXIS_PX
from joulebook.web.figures.months import months_figure
from joulebook.web.figures.palette import PALETTES, Palette
from joulebook.web.figures.warranty import warranty_figure
from joulebook.web.figures.wear import capacity_figure, depths_figure
from joulebook.web.figures.week import week_figure
from joulebook.web.pages.day import End, Start, begun_date
from joulebook.web.problems import ProblemError
from joulebook.web.series.lines import site_lines
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_in, noted_of_record, noted_since, within
from joulebook.web.spans.zoom import asked_zoom

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/figures")

_Where = tuple[Backing, Site, Palette]


async def palette_of(scheme: str = "light") -> Palette:
    """Return the palette of a colour scheme; one that is not known reads on light paper."""
    return PALETTES["dark"] if scheme == "dark" else PALETTES["light"]


Painted = Annotated[Palette, Depends(palette_of)]


@router.get("/week")
def week(
    site: Sited,
    backing: Backed,
    palette: Painted,
    name: Annotated[str | None, Query(alias="week")] = None,
) -> dict[str, Any]:
    """Return the figure of a week."""
    today = date_of(backing.clock_ms(), site.zone)
    shown = asked_week(name, today=today)
    days = day_results_of(backing.database, site, shown.monday, shown.sunday)
    span = days_span(shown.monday, shown.sunday, site.zone)
    week_days = list(dates(shown.monday, shown.sunday))
    return with_events(
        week_figure(week_days, days, palette, today=today),
        noted_in(backing.database, site, span),
        among([local_day(day, site.zone) for day in week_days]),
        span=span,
        palette=palette,
    )


@router.get("/days/{day}")
def one_day(
    site: Sited,
    day: str,
    backing: Backed,
    palette: Painted,
    width: str | None = None,
    start: Start = None,
    end: End = None,
) -> dict[str, Any]:
    """Return the figure of a day or a part of it, in as many points as fit its width."""
    now_ms = backing.clock_ms()
    shown = begun_date(site, day, today=date_of(now_ms, site.zone))
    whole = local_day(shown, site.zone)
    zoom = asked_zoom(
        *(start, end),
        day=shown,
        whole=whole,
        zone=site.zone,
        path=f"/sites/{site.name}/days/{shown}",
    )
    # The axis takes its part of the width.
    span, pixels = zoom.span, max(10, asked_width(width) - AXIS_PX)
    lines = [line.points(span, pixels) for line in site_lines(backing.database, site, whole)]
    drawn = day_figure(
        shown,
        lines,
        span=span,
        zone=site.zone,
        palette=palette,
        pixel_s=span.length_s / pixels,
        now_ms=now_ms,
    )
    # Of a part of the day too, the numbers are those of the page's list.
    noted = within(noted_in(backing.database, site, whole), span)
    return with_events(drawn, noted, since(span), span=span, palette=palette)


@router.get("/months")
def all_months(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of all months."""
    now_ms = backing.clock_ms()
    months = backing.analyses.months(site, now_ms=now_ms)
    drawn = months_figure(months, palette)
    if not months:
        return drawn
    spans = [_month(month.first, site) for month in months]
    return with_events(
        drawn,
        noted_since(backing.database, site, months[0].first, now_ms=now_ms),
        among(spans),
        span=Span(spans[0].start_ms, spans[-1].end_ms),
        palette=palette,
    )


@router.get("/efficiency")
def efficiency(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the quarters' round trips."""
    report = backing.analyses.efficiency(site)
    drawn, quarters = efficiency_figure(report, palette), report["quarters"]
    if not quarters:
        return drawn
    spans = [_days(quarter["from"], quarter["to"], site) for quarter in quarters]
    return _with_events_of_record(
        *(drawn, report["record"], among(spans)),
        last=quarters[-1]["to"],
        where=(backing, site, palette),
    )


@router.get("/capacity")
def capacity(
    site: Sited, backing: Backed, palette: Painted, width: str | None = None
) -> dict[str, Any]:
    """Return the figure of the capacity and its nights."""
    wear = _analysed(backing.analyses.wear(site), site)
    drawn = capacity_figure(
        *(wear, backing.analyses.nights(site), palette),
        rated_ah=site.battery_ah,
        width=asked_width(width),
    )
    return _with_events_of_record(
        *(drawn, wear["record"], on_dates(site.zone)),
        last=wear["record"]["to"],
        where=(backing, site, palette),
    )


@router.get("/depths")
def depths(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the depths of cycles."""
    return depths_figure(backing.analyses.wear(site)["depths"]["bins"], palette)


@router.get("/warranty")
def warranty(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the forecast."""
    wear = _analysed(backing.analyses.wear(site), site)
    drawn = warranty_figure(wear, palette, rated_ah=site.battery_ah)
    return _with_events_of_record(
        *(drawn, wear["record"], on_dates(site.zone)),
        last=wear["warranty"]["ends"],
        where=(backing, site, palette),
    )


def _month(first: date, site: Site) -> Span:
    last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    return days_span(first, last, site.zone)


def _days(first: str, last: str, site: Site) -> Span:
    return days_span(date.fromisoformat(first), date.fromisoformat(last), site.zone)


def _with_events_of_record(
    drawn: dict[str, Any], record: Document, place: Place, *, last: str, where: _Where
) -> dict[str, Any]:
    """Return a figure of the record, up to the day ``last``, with the events since it began."""
    backing, site, palette = where
    noted = noted_of_record(backing.database, site, record, now_ms=backing.clock_ms())
    span = _days(record["from"], last, site)
    return with_events(drawn, noted, place, span=span, palette=palette)


def _analysed(wear: Document, site: Site) -> Document:
    """Return the document of a record that is analysed."""
    if "reason" in wear["record"]:
        raise ProblemError(
            404,
            "not-yet",
            f"there is nothing to draw: {wear['record']['reason']}",
            where=f"the record of {site.name}",
            expected="a record that is analysed",
            next_step="read the page, which says what is missing",
            link=f"/sites/{site.name}/wear",
        )
    return wear
