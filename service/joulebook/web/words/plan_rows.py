"""What the page of planning begins with, its rows, and what they rest on."""

from dataclasses import dataclass
from datetime import date

from joulebook.core.estimate import Estimate
from joulebook.core.planning.outcome import Outcome
from joulebook.core.planning.plan import Plan
from joulebook.summaries.plan_ground import PlanGround
from joulebook.web.region import formats
from joulebook.web.shown import CYCLES, KWH_WHOLE, PERCENT, Unit
from joulebook.web.shown import HOURS as HOURS_UNIT
from joulebook.web.words import money_sentences

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
