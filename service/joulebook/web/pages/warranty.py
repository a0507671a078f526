"""Whether the battery will hold what its warranty promises, and what is missing to prove it."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_of_record
from joulebook.web.words import record_sentences
from joulebook.web.words.record_texts import CANNOT_SEE, RECORD_WORKINGS
from joulebook.web.words.warranty_rows import (
    facts_of,
    fan_rows,
    levels_of,
    limit_rows,
    missing_for_proof,
    reached_rows,
    term_rows,
    what_if_rows,
)

router = APIRouter(include_in_schema=False)


@router.get("/sites/{site}/warranty")
def warranty_page(site: Sited, backing: Backed) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="warranty"))
    wear = backing.analyses.wear(site)
    terms, record = wear["warranty"], wear["record"]
    measured = [
        record_sentences.why_no_odds(wear),
        record_sentences.expected(terms),
        record_sentences.over_by_energy(terms),
    ]
    if "reason" not in record:
        measured.append(record_sentences.analysed(record))
    page = record_page(
        backing,
        site,
        "warranty.html",
        current="warranty",
        noted=noted_of_record(backing.database, site, wear["record"], now_ms=backing.clock_ms()),
        record=record,
        lead=record_sentences.will_hold(wear, site.battery_ah),
        measured=[words for words in measured if words is not None],
        terms=[*term_rows(terms), *limit_rows(site)],
        assumed=terms.get("assumed", []),
        fan=fan_rows(terms),
        levels=levels_of(terms),
        reached=reached_rows(terms),
        what_if=what_if_rows(wear),
        missing=missing_for_proof(wear, site),
        basis=terms.get("basis"),
        cannot_see=CANNOT_SEE,
        workings_of=RECORD_WORKINGS,
        facts=facts_of(wear),
    )
    return HTMLResponse(page)
