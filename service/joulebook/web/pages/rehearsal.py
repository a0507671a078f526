"""A load rehearsal: switch something large on, watch, stop, and read what it did.

Nothing is stored: the address names when it began and ended, and can be kept or printed.
"""

from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, RedirectResponse

from joulebook.core.spans import Span
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.rehearsal_report import rehearsal_report
from joulebook.web.asked import asked_span
from joulebook.web.pages.records import record_page
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.carry_sentences import start_facts, start_title
from joulebook.web.words.carry_texts import REHEARSAL_CAUTIONS, REHEARSAL_STEPS

router = APIRouter(include_in_schema=False)

#: A rehearsal is looked at for so long at most. [ms]
LONGEST_MS = 6 * 3_600_000

Began = Annotated[str | None, Query(alias="from")]
Ended = Annotated[str | None, Query(alias="to")]


@router.get("/sites/{site}/rehearsal/begin")
def begin(site: Sited, backing: Backed) -> RedirectResponse:
    """Lead to a rehearsal that begins now."""
    return _leading_to(site, {"from": _instant(backing.clock_ms())})


@router.get("/sites/{site}/rehearsal/end")
def end(site: Sited, backing: Backed, began: Began = None) -> RedirectResponse:
    """Lead to what came of a rehearsal that ends now."""
    now_ms = backing.clock_ms()
    span = asked_span(began, None, zone=site.zone, now_ms=now_ms + 1)
    # Addresses have whole seconds, and a span without length is none.
    ended_ms = max(now_ms, span.start_ms + 1000)
    return _leading_to(site, {"from": _instant(span.start_ms), "to": _instant(ended_ms)})


@router.get("/sites/{site}/rehearsal")
def rehearsal_page(
    site: Sited, backing: Backed, began: Began = None, ended: Ended = None
) -> HTMLResponse:
    """Show how it goes; while it runs, what was seen so far; and at last what came of it."""
    now_ms = backing.clock_ms()
    found: Document = {}
    if began is not None:
        # One that begins at this very instant has a length already.
        span = asked_span(began, ended, zone=site.zone, now_ms=now_ms + 1)
        found = rehearsal_report(
            *(backing.database, site),
            Span(span.start_ms, min(span.end_ms, span.start_ms + LONGEST_MS)),
        )
        found["began"] = _instant(span.start_ms)
        found["began_ms"], found["ended_ms"] = span.start_ms, span.end_ms
    start = found.get("start")
    page = record_page(
        backing,
        site,
        "rehearsal.html",
        current="carry",
        found=found,
        runs=began is not None and ended is None,
        title=start_title(start) if start else None,
        facts=start_facts(start) if start else [],
        steps=REHEARSAL_STEPS,
        cautions=REHEARSAL_CAUTIONS,
    )
    return HTMLResponse(page)


def _leading_to(site: Site, query: dict[str, str]) -> RedirectResponse:
    address = f"/sites/{site.name}/rehearsal?{urlencode(query)}"
    return RedirectResponse(address, 307, {"Cache-Control": "no-store"})


def _instant(at_ms: int) -> str:
    """Return an instant to the second, as a query takes it."""
    return f"{datetime.fromtimestamp(at_ms // 1000, tz=UTC):%Y-%m-%dT%H:%M:%SZ}"
