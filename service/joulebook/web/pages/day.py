"""A site's day."""

from collections.abc import Sequence
from contextlib import closing
from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, RedirectResponse

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import date_of, local_day
from joulebook.storage.quarantine import quarantine_count
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.reports import day_results_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_date
from joulebook.web.problems import ProblemError
from joulebook.web.region import formats
from joulebook.web.series.lines import Line, site_lines
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.day_parts import extents, part_rows, row_step_ms
from joulebook.web.spans.noted import noted_in
from joulebook.web.spans.totals import coverage, elapsed_hours, numbers_of, says_something
from joulebook.web.spans.weeks import Week
from joulebook.web.spans.zoom import asked_zoom
from joulebook.web.words import sentences, texts
from joulebook.web.words.event_texts import KIND_WORDS, LABELS, local_minute

router = APIRouter(include_in_schema=False)

#: The ends of a part of the day.
Start = Annotated[str | None, Query(alias="from")]
End = Annotated[str | None, Query(alias="to")]


@router.get("/sites/{site}/today")
def today_page(site: Sited, backing: Backed) -> RedirectResponse:
    """Go to the day that it is at the site."""
    today = date_of(backing.clock_ms(), site.zone)
    return RedirectResponse(f"/sites/{site.name}/days/{today}", 307)


@router.get("/sites/{site}/days/{day}")
def day_page(
    site: Sited,
    actor: Asking,
    day: str,
    backing: Backed,
    done: str | None = None,
    start: Start = None,
    end: End = None,
) -> HTMLResponse:
    """Show the day, and a part of it closer where one is asked for."""
    now_ms = backing.clock_ms()
    today = date_of(now_ms, site.zone)
    shown = begun_date(site, day, today=today)
    span = local_day(shown, site.zone)
    with closing(backing.database.connect()) as connection:
        measured = readings_span(connection, site.id)
        set_aside = quarantine_count(connection, site.id)
    first = None if measured is None else date_of(measured.start_ms, site.zone)
    last = None if measured is None else date_of(measured.end_ms - 1, site.zone)
    results = day_results_of(backing.database, site, shown, shown)
    lines = site_lines(backing.database, site, span)
    zoom = asked_zoom(
        *(start, end),
        day=shown,
        whole=span,
        zone=site.zone,
        path=f"/sites/{site.name}/days/{shown}",
    )
    page = backing.render(
        "day.html",
        site=site,
        set_aside=set_aside,
        current="day" if shown == today else None,
        day=shown,
        week_name=None if Week.of(shown) == Week.of(today) else Week.of(shown).name,
        window=sentences.day_window(shown, so_far=shown == today),
        earlier=shown - timedelta(days=1) if first is not None and first < shown else None,
        later=shown + timedelta(days=1) if shown < today else None,
        first=first,
        last=last,
        clock_change=span.length_s not in (0, 86_400),
        length_h=span.length_s / 3600,
        zoom=zoom,
        steps=zoom.steps() if actor.share_id is None else [],
        rows=part_rows(lines, zoom, now_ms=now_ms),
        row_minutes=row_step_ms(zoom.span) // 60_000,
        extents=extents(lines, zoom.span) if zoom.is_part else [],
        drawn=[_heading(line) for line in lines],
        noted=noted_in(backing.database, site, span),
        **_note_form(site, actor, shown, now_ms=now_ms),
        done=done == "noted",
        **day_numbers(site, shown, results, now_ms=now_ms, has_readings=bool(lines)),
    )
    return HTMLResponse(page)


def _note_form(site: Site, actor: Actor, day: date, *, now_ms: int) -> dict[str, Any]:
    """Return what the form for an event of this day takes: now, or the day's noon."""
    today = date_of(now_ms, site.zone)
    return {
        "actor": actor,
        "may_change": actor.may_change(site.id),
        "form": Form(),
        "kind_words": KIND_WORDS,
        "event_labels": LABELS,
        "at": local_minute(now_ms, site) if day == today else f"{day}T12:00",
    }


def begun_date(site: Site, text: str, *, today: date) -> date:
    """Return the date in the path, which must have begun at the site."""
    day = asked_date(text, where="the address, after /days/")
    if day > today:
        raise ProblemError(
            404,
            "not-yet",
            f"{formats.day_plain(day)} has not begun at the {site.name}",
            where="the address, after /days/",
            expected=f"a day up to {formats.day_plain(today)}",
            next_step="go to today",
            link=f"/sites/{site.name}/days/{today}",
        )
    return day


def day_numbers(
    site: Site, day: date, results: Sequence[DayResult], *, now_ms: int, has_readings: bool
) -> dict[str, Any]:
    """Return the sentence and the numbers of a day, as its template takes them."""
    so_far = day == date_of(now_ms, site.zone)
    hours = elapsed_hours(day, day, zone=site.zone, now_ms=now_ms)
    result = results[0] if results else None
    if result is not None:
        numbers = numbers_of(result, hours=hours)
    else:
        reason = texts.NOT_SUMMED if has_readings else texts.NO_READINGS
        numbers = {name: refused(reason, method="day-1") for name in texts.LABELS}
    return {
        "sentence": sentences.energy_sentence(
            sentences.day_begins(so_far=so_far), site.name, numbers
        ),
        "measured": sentences.measured_sentence(coverage(results, hours=hours), so_far=so_far),
        "numbers": numbers,
        "so_far": so_far,
        "pending": result is None and has_readings,
        "nothing": not has_readings and (result is None or not says_something(result)),
        "inputs": () if result is None else result.inputs,
        "counters": {} if result is None else _counters(result),
    }


def _counters(result: DayResult) -> dict[str, Estimate]:
    """Return what the devices' own counters say, by the name of the number they stand beside."""
    names = {name: f"{name.removesuffix('_wh')}_counter_wh" for name in texts.LABELS}
    return {
        name: result.numbers[counter]
        for name, counter in names.items()
        if counter in result.numbers
    }


def _heading(line: Line) -> str:
    word = formats.device_label(line.device)
    return f"{word}, %" if line.quantity == "soc" else word
