"""A site's week: this one, or another that was named."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.daily import same_hours
from joulebook.core.daily.days import DayResult
from joulebook.core.spans import date_of, dates, days_span
from joulebook.storage.quarantine import quarantine_count
from joulebook.storage.reading import latest_readings, readings_span
from joulebook.storage.records import Site
from joulebook.summaries.reports import day_results_of
from joulebook.web.asked import asked_week
from joulebook.web.backing import Backing
from joulebook.web.region import formats
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_in
from joulebook.web.spans.totals import coverage, elapsed_hours, says_something, totals_of
from joulebook.web.spans.weeks import Week
from joulebook.web.words import sentences, texts
from joulebook.web.words.comparison_sentences import (
    DAYS_BEFORE,
    LAST_WEEK,
    WEEK_BEFORE,
    YEAR_BEFORE,
    ToldWeek,
    told_week,
)
from joulebook.web.words.newest import last_heard_ms, newest_of
from joulebook.web.words.sentences import week_window

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """A day in the table: its result, or none yet, and its measured share of what has passed."""

    date: date
    result: DayResult | None
    coverage_ratio: float
    so_far: bool
    ahead: bool


@router.get("/sites/{site}")
def week_page(site: Sited, backing: Backed, week: str | None = None) -> HTMLResponse:
    """Show the week."""
    now_ms = backing.clock_ms()
    today = date_of(now_ms, site.zone)
    shown = asked_week(week, today=today)
    with closing(backing.database.connect()) as connection:
        measured = readings_span(connection, site.id)
        newest = latest_readings(connection, site.id)
        set_aside = quarantine_count(connection, site.id)
    if measured is None:
        page = backing.render(
            "empty.html",
            site=site,
            set_aside=set_aside,
            data_dir=backing.database.data_dir,
            current="week",
        )
        return HTMLResponse(page)
    days = day_results_of(backing.database, site, shown.monday, shown.sunday)
    heard_ms = last_heard_ms(newest)
    silent_s = 0.0 if heard_ms is None else (now_ms - heard_ms) / 1000
    beside = told_weeks(backing, site, shown, now_ms=now_ms)
    page = backing.render(
        "week.html",
        site=site,
        set_aside=set_aside,
        current="week" if shown == Week.of(today) else None,
        week=shown,
        this_week=Week.of(today),
        earlier=shown.shifted(-1)
        if Week.of(date_of(measured.start_ms, site.zone)) < shown
        else None,
        later=shown.shifted(1) if shown < Week.of(today) else None,
        newest=newest_of(newest, now_ms=now_ms),
        heard_ms=heard_ms,
        silence=formats.duration(silent_s),
        stale=silent_s > texts.STALE_AFTER_S,
        inputs=sorted({name for day in days for name in day.inputs}),
        beside=beside,
        changed={
            week.other.name: noted_in(
                backing.database, site, days_span(week.other.monday, shown.sunday, site.zone)
            )
            for week in beside
        },
        compared_by=same_hours.METHOD,
        noted=noted_in(backing.database, site, days_span(shown.monday, shown.sunday, site.zone)),
        **week_numbers(site, shown, days, now_ms=now_ms),
    )
    return HTMLResponse(page)


def told_weeks(backing: Backing, site: Site, week: Week, *, now_ms: int) -> list[ToldWeek]:
    """Return what differs from the week before, and from the same ISO week a year before."""
    so_far = week == Week.of(date_of(now_ms, site.zone))
    yearly = week.year_before
    same = yearly.name[-3:] == week.name[-3:]
    others = (
        (week.shifted(-1), LAST_WEEK if so_far else WEEK_BEFORE),
        (yearly, YEAR_BEFORE if same else DAYS_BEFORE),
    )
    return [
        told_week(
            backing.comparisons.beside(site, week, other, now_ms=now_ms),
            *(name, site.name),
            so_far=so_far,
        )
        for other, name in others
    ]


def week_numbers(
    site: Site, week: Week, days: Sequence[DayResult], *, now_ms: int
) -> dict[str, object]:
    """Return the sentence, the totals and the days of a week, as its template takes them."""
    today = date_of(now_ms, site.zone)
    hours = elapsed_hours(week.monday, week.sunday, zone=site.zone, now_ms=now_ms)
    totals = totals_of(days, hours=hours)
    so_far = week == Week.of(today)
    measured = coverage(days, hours=hours)
    return {
        "sentence": sentences.energy_sentence(
            sentences.week_begins(so_far=so_far), site.name, totals
        ),
        "measured": sentences.measured_sentence(measured, so_far=so_far),
        "title": sentences.week_title(week, so_far=so_far),
        "window": week_window(week, so_far=so_far),
        "totals": totals,
        "so_far": so_far,
        "days": day_lines(week, days, zone=site.zone, now_ms=now_ms),
    }


def day_lines(
    week: Week, days: Sequence[DayResult], *, zone: ZoneInfo, now_ms: int
) -> list[DayLine]:
    """Return the seven days of a week, those ahead and those without a result too."""
    today = date_of(now_ms, zone)
    by_date = {day.date: day for day in days if says_something(day)}
    lines = []
    for day in dates(week.monday, week.sunday):
        hours = elapsed_hours(day, day, zone=zone, now_ms=now_ms)
        result = by_date.get(day)
        lines.append(
            DayLine(
                date=day,
                result=result,
                coverage_ratio=coverage([] if result is None else [result], hours=hours),
                so_far=day == today,
                ahead=day > today,
            )
        )
    return lines
