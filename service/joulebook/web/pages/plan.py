"""What more load, more panels or another battery would have done in the measured year."""

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from joulebook.storage.records import Site
from joulebook.summaries.plan_ground import Asked, PlanGround
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.figures.plan import plan_figure
from joulebook.web.pages.figures import Painted
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.plan_form import HOURS, MONTHS, asked_of, standing
from joulebook.web.sites import Backed, Sited
from joulebook.web.words.plan_rows import facts_of, lead_of, lines_of
from joulebook.web.words.plan_texts import CAUTIONS, LABELS, LIMITS, PLAN_WORKING

router = APIRouter(include_in_schema=False)


@router.get("/sites/{site}/plan")
def plan_page(request: Request, site: Sited, backing: Backed) -> HTMLResponse:
    """Show the page; what is asked for stands in its address, so that it can be kept."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="money"))
    form, ground, asked = _asked(request, site, backing)
    plan = None if form.errors else backing.analyses.plan(site, asked, now_ms=backing.clock_ms())
    query = urlencode(form.fields)
    page = record_page(
        backing,
        site,
        "plan.html",
        current="money",
        form=form,
        now=standing(ground),
        labels=LABELS,
        months=MONTHS,
        hours=HOURS,
        asked_for=bool(form.fields) and plan is not None,
        figure=f"/sites/{site.name}/figures/plan?{query}",
        lead=lead_of(ground, plan, asked=bool(form.fields) and not form.errors),
        lines=[] if plan is None or plan.course is None else lines_of(plan, ground),
        facts=facts_of(ground, plan),
        working=PLAN_WORKING,
        limits=LIMITS,
        cautions=CAUTIONS,
        has_panels=ground.has_panels,
    )
    return HTMLResponse(page, 422 if form.errors else 200)


@router.get("/sites/{site}/figures/plan")
def figure(request: Request, site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of energy bought by month, as it was and as it would have been."""
    form, ground, asked = _asked(request, site, backing)
    plan = None if form.errors else backing.analyses.plan(site, asked, now_ms=backing.clock_ms())
    return plan_figure(ground, plan, palette)


def _asked(request: Request, site: Site, backing: Backing) -> tuple[Form, PlanGround, Asked]:
    known = {name: value for name, value in request.query_params.items() if name in LABELS}
    form = Form(known)
    ground = backing.analyses.plan_ground(site, now_ms=backing.clock_ms())
    return form, ground, asked_of(form, ground)
