"""How efficient a site is: what comes back, what the inverter keeps, what a change did."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.shown import (
    without_repeats,
)
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_of_record
from joulebook.web.words import record_sentences
from joulebook.web.words.efficiency_rows import (
    change_of,
    cost_rows,
    facts_of,
    number_rows,
    quarter_lines,
    stretch_lines,
)
from joulebook.web.words.record_texts import RECORD_WORKINGS

router = APIRouter(include_in_schema=False)

#: So many stretches are shown before all are asked for.
FIRST_STRETCHES = 30


@router.get("/sites/{site}/efficiency")
def efficiency_page(site: Sited, backing: Backed, stretches: str | None = None) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="efficiency"))
    report = backing.analyses.efficiency(site)
    cost = backing.analyses.cost_of_losses(site, now_ms=backing.clock_ms())
    trip, record = report["round_trip"], report["record"]
    found = [] if "reason" in record else backing.analyses.stretches(site, trip)
    every = stretches == "all"
    page = record_page(
        backing,
        site,
        "efficiency.html",
        current="efficiency",
        noted=noted_of_record(backing.database, site, report["record"], now_ms=backing.clock_ms()),
        lead=[
            record_sentences.gave_back(trip, report["changes"]),
            record_sentences.takes_itself(report["idle_w"]),
        ],
        measured=[
            words
            for words in (
                record_sentences.stretches_measured(trip),
                record_sentences.analysed(record) if "reason" not in record else None,
            )
            if words is not None
        ],
        record=record,
        rows=without_repeats(number_rows(report) + cost_rows(cost)),
        costed=cost is not None,
        quarters=quarter_lines(report)[::-1],
        changes=[change_of(each) for each in report["changes"]][::-1],
        stretches=stretch_lines(found if every else found[:FIRST_STRETCHES], site),
        all_stretches=every,
        used_count=sum(each.why_not is None for each in found),
        left_count=sum(each.why_not is not None for each in found),
        workings_of=RECORD_WORKINGS,
        facts=facts_of(report),
        methods={name: report[name]["method"] for name in ("round_trip", "idle_w", "conversion")},
    )
    return HTMLResponse(page)
