"""Is it wired and talking right? What the last days' readings say, trouble first."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.checks.finding import METHOD
from joulebook.summaries.checks_report import DAYS
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.check_sentences import lead_of, told_check
from joulebook.web.words.check_texts import VERDICTS

router = APIRouter(include_in_schema=False)


@router.get("/sites/{site}/checks")
def checks_page(site: Sited, backing: Backed) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="checks"))
    document = backing.analyses.checks(site, now_ms=backing.clock_ms())
    told = {
        verdict: [told_check(each) for each in document["checks"] if each["verdict"] == verdict]
        for verdict in VERDICTS
    }
    page = record_page(
        backing,
        site,
        "checks.html",
        current="checks",
        lead=lead_of(document["checks"]),
        up_to_ms=document["up_to_ms"],
        first=document["from"],
        days=DAYS,
        method=METHOD,
        trouble=told["trouble"],
        good=told["good"],
        unclear=told["unclear"],
    )
    return HTMLResponse(page)
