"""What more load, more panels or another battery would have done in the measured year."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from joulebook.core.estimate import Estimate
from joulebook.core.planning.outcome import Outcome
from joulebook.core.planning.plan import Plan
from joulebook.storage.records import Site
from joulebook.summaries.plan_ground import Asked, PlanGround
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.figures.plan import plan_figure
from joulebook.web.pages.figures import Painted
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.plan_form import HOURS, LABELS, MONTHS, asked_of, standing
from joulebook.web.region import formats
from joulebook.web.shown import CYCLES, KWH_WHOLE, PERCENT, Unit
from joulebook.web.shown import HOURS as HOURS_UNIT
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import money_sentences
from joulebook.web.words.plan_texts import CAUTIONS, LIMITS, PLAN_WORKING

router = APIRouter(include_in_schema=False)

#: The rows of the table, by the outcome's field, with the unit of each; amounts come apart.
_ROWS: tuple[tuple[str, str, Unit], ...] = (
    ("import_wh", "Bought", KWH_WHOLE),
    ("export_wh", "Sold", KWH_WHOLE),
    ("full_h", "Battery full", HOURS_UNIT),
    ("empty_h", "Battery at its reserve", HOURS_UNIT),
    ("cycles", "Times it was emptied, a year", CYCLES),
)


#: A year's amount: more digits would be more than it knows.
_WHOLE = Unit(1.0, 0, "")


@dataclass(frozen=True, slots=True)
class Cell:
    """A number with its interval, or neither."""

    value: str | None
    interval: str


@dataclass(frozen=True, slots=True)
class Line:
    """A row: as it was, as it would have been, and what that is more or less."""

    label: str
    was: Cell
    would: Cell
    more: Cell


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


def lead_of(ground: PlanGround, plan: Plan | None, *, asked: bool) -> list[str]:
    """Return the sentences that the page begins with."""
    if ground.time is None:
        return ["Nothing can be planned: the site has no meter of the grid or of the load."]
    window = formats.days_between(
        *(date.fromisoformat(ground.window[end]) for end in ("from", "to"))
    )
    if plan is None:
        return ["Something that was asked for needs another look."]
    if plan.course is None:
        return [f"Nothing can be planned: {plan.was.import_wh.reason}."]
    was, would = plan.was.import_wh, plan.change.import_wh
    if not asked:
        return [f"From {window} {KWH_WHOLE.text(was.value)} were bought. What would change that?"]
    lead = [
        f"From {window} you would have bought {KWH_WHOLE.text(would.value)}"
        f" ({KWH_WHOLE.within(would.low, would.high)}) instead of {KWH_WHOLE.text(was.value)}."
    ]
    more = plan.difference.paid
    if more.value is not None and ground.currency is not None:
        unit = money_sentences.amount_unit(ground.currency)
        low, high = (more.low or 0.0), (more.high or 0.0)
        word, ends = ("more", (low, high)) if more.value > 0 else ("less", (-high, -low))
        lead.append(
            f"Energy would have cost {unit.text(abs(more.value))} {word} ({unit.within(*ends)})."
        )
    return lead


def lines_of(plan: Plan, ground: PlanGround) -> list[Line]:
    """Return the table of a plan."""
    lines = [_line(plan, name, label, unit) for name, label, unit in _ROWS]
    if ground.currency is not None:
        label = f"Paid, {ground.currency}, without fixed fees"
        lines.insert(2, _line(plan, "paid", label, _WHOLE))
    return lines


def _line(plan: Plan, name: str, label: str, unit: Unit) -> Line:
    def cell(outcome: Outcome, *, signed: bool = False) -> Cell:
        found: Estimate = getattr(outcome, name)
        if found.value is None:
            return Cell(None, "")
        text = unit.signed(found.value) if signed else unit.text(found.value)
        return Cell(text.strip(), unit.interval(found.low, found.high))

    return Line(label, cell(plan.was), cell(plan.change), cell(plan.difference, signed=True))


def facts_of(ground: PlanGround, plan: Plan | None) -> list[tuple[str, str]]:
    """Return what the simulation rests on, as pairs of a name and words."""
    passed = PERCENT.text(ground.passed.ratio)
    facts = [("Inverter passes on", passed)]
    if ground.battery is not None:
        facts += [("Battery", words) for words in ground.battery.words]
    if plan is not None:
        share = formats.measured(plan.coverage_ratio)
        facts.append(("Measured", f"{share} of a year of 8,760 hours; the rest is left out"))
        if plan.course is not None:
            facts.append(
                (
                    "Simulation of what is there",
                    f"misses energy bought or sold by {PERCENT.text(plan.off_ratio)} of the use",
                )
            )
    return facts
