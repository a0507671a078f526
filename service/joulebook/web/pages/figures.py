"""Figures as JSON documents, fetched by a page once its numbers are painted."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from joulebook.core.spans import date_of, dates, local_day
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.reports import day_results_of
from joulebook.web.asked import asked_week, asked_width
from joulebook.web.figures.day import day_figure
from joulebook.web.figures.efficiency import efficiency_figure
from joulebook.web.figures.months import months_figure
from joulebook.web.figures.palette import PALETTES, Palette
from joulebook.web.figures.warranty import warranty_figure
from joulebook.web.figures.wear import capacity_figure, depths_figure
from joulebook.web.figures.week import week_figure
from joulebook.web.lines import site_lines
from joulebook.web.months import site_months
from joulebook.web.pages.day import begun_date
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed, Sited

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/figures")


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
    return week_figure(list(dates(shown.monday, shown.sunday)), days, palette, today=today)


@router.get("/days/{day}")
def one_day(
    site: Sited, day: str, backing: Backed, palette: Painted, width: str | None = None
) -> dict[str, Any]:
    """Return the figure of a day, in as many points as fit its width."""
    now_ms = backing.clock_ms()
    shown = begun_date(site, day, today=date_of(now_ms, site.zone))
    span = local_day(shown, site.zone)
    pixels = asked_width(width)
    lines = [line.points(span, pixels) for line in site_lines(backing.database, site, span)]
    return day_figure(
        shown,
        lines,
        span=span,
        zone=site.zone,
        palette=palette,
        bucket_s=span.length_s / pixels,
        now_ms=now_ms,
    )


@router.get("/months")
def all_months(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of all months."""
    return months_figure(site_months(backing.database, site, now_ms=backing.clock_ms()), palette)


@router.get("/efficiency")
def efficiency(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the quarters' round trips."""
    return efficiency_figure(backing.analyses.efficiency(site), palette)


@router.get("/capacity")
def capacity(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the capacity and its nights."""
    wear = _analysed(backing.analyses.wear(site), site)
    return capacity_figure(wear, palette, rated_ah=site.battery_ah)


@router.get("/depths")
def depths(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the depths of cycles."""
    return depths_figure(backing.analyses.wear(site)["depths"]["bins"], palette)


@router.get("/warranty")
def warranty(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the forecast."""
    wear = _analysed(backing.analyses.wear(site), site)
    return warranty_figure(wear, palette, rated_ah=site.battery_ah)


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
