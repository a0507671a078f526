"""What can it carry? Hours left, the largest starts seen, and outages ridden through."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.loads.metering import LOADS_METHOD
from joulebook.summaries.start_readings import readings_around
from joulebook.web.figures.carry import start_figure
from joulebook.web.pages.figures import Painted
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.problems import ProblemError
from joulebook.web.region import formats
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.carry_rows import held_rows, hour_rows, rated
from joulebook.web.words.carry_sentences import (
    carry_sentence,
    outage_words,
    start_facts,
    start_title,
    starts_sentence,
)
from joulebook.web.words.carry_texts import LOADS_WORKINGS

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class ToldStart:
    """A kind of start as the page shows it."""

    title: str
    facts: list[tuple[str, str]]


@router.get("/sites/{site}/carry")
def carry_page(site: Sited, backing: Backed) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="carry"))
    loads = backing.analyses.loads(site, now_ms=backing.clock_ms())
    starts, outages = loads["starts"], loads["outages"]
    page = record_page(
        backing,
        site,
        "carry.html",
        current="carry",
        lead=carry_sentence(loads),
        as_of_ms=loads["as_of_ms"],
        stale=loads["stale"],
        rows=hour_rows(loads),
        held=held_rows(loads),
        assumptions=[formats.capital(each) for each in loads["assumptions"]],
        starts_lead=starts_sentence(starts),
        starts=[ToldStart(start_title(each), start_facts(each)) for each in starts["list"]],
        limits=starts.get("limits"),
        rated=rated(site),
        outages=outages,
        outage_lines=[outage_words(each) for each in outages["list"]],
        cautions=loads["cautions"],
        method=LOADS_METHOD,
        workings_of=LOADS_WORKINGS,
    )
    return HTMLResponse(page)


@router.get("/sites/{site}/figures/start")
def start_picture(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the largest start."""
    starts = backing.analyses.loads(site, now_ms=backing.clock_ms())["starts"]["list"]
    if not starts:
        raise ProblemError(
            404,
            "not-yet",
            "there is nothing to draw: no start was read",
            where=f"the readings of {site.name}",
            expected="a load that was switched on",
            next_step="read the page, which says what is missing",
            link=f"/sites/{site.name}/carry",
        )
    at_ms = starts[0]["at_ms"]
    lines = readings_around(backing.database, site, at_ms, every_s=starts[0]["spacing_s"])
    return start_figure(lines, at_ms, zone=site.zone, palette=palette)
