"""Writes the page of machines for many homes, of a run's document alone."""

import re
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined

from joulebook.bench.fleet_constants import DEVICES, EVERY_S, QUANTITIES, constants_of
from joulebook.bench.fleet_plan import ASSUMED, STEPS, FleetPlan
from joulebook.bench.fleet_words import WORDS
from joulebook.bench.table import figure
from joulebook.errors import UsageError

BEGIN = "<!-- written by joulebook bench --fleet: changes in here are lost -->"
END = "<!-- end of what was written -->"
_UNITS = {"s": ("s", 1.0), "ms": ("ms", 1.0), "B": ("MB", 1e-6)}


def machines_text(document: Mapping[str, Any]) -> str:
    """Return the text that goes between the two marks; the same document gives the same text.

    Raises
    ------
    UsageError
        If nothing can be calculated from the run.
    """
    plan = FleetPlan(constants_of(document))
    late = [each["title"] for each in document["costs"] if not each["holds"]]
    # Markdown, of figures and words of ours: nothing to escape.
    environment = Environment(undefined=StrictUndefined, autoescape=False)  # noqa: S701
    environment.filters |= {
        "digits": figure,
        "thousands": lambda number: f"{number:,.0f}",
        "amount": _amount,
        "grown": lambda one: f"{one['exponent']:.2f} ({one['low']:.2f} to {one['high']:.2f})",
        "short": lambda key: WORDS[key].short,
    }
    source = resources.files("joulebook.bench").joinpath("fleet_machines.md.jinja")
    # A line that ends in a backslash goes on in the next one.
    text = source.read_text(encoding="utf-8").replace("\\\n", "")
    told = environment.from_string(text).render(
        **document,
        verdict="missed by " + "; ".join(late) if late else "it holds",
        steps=[plan.step(homes) for homes in STEPS],
        breaks=plan.breaks(),
        words=WORDS,
        has=ASSUMED,
        quantities=QUANTITIES,
        devices=DEVICES,
        every_s=EVERY_S,
    )
    return re.sub(r" +$", "", told, flags=re.MULTILINE).strip("\n") + "\n"


def write_machines(page: Path, document: Mapping[str, Any]) -> None:
    """Put the text between the marks of a page; the rest of the page stays as it is.

    Raises
    ------
    UsageError
        If the page has no such marks, or nothing can be calculated from the run.
    """
    told = machines_text(document)
    before, begin, rest = page.read_text(encoding="utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise UsageError(
            "this page has no place for what a run says",
            where=page,
            expected=f"a line {BEGIN!r}, and {END!r} somewhere after it",
            next_step="put the two lines where the text is to stand",
        )
    page.write_text(f"{before}{begin}\n{told}{end}{after}", encoding="utf-8")


def _amount(value: float, unit: str) -> str:
    shown, factor = _UNITS[unit]
    if unit == "B" and value < 1e6:
        shown, factor = "kB", 1e-3
    if unit == "s" and value < 1:
        shown, factor = "ms", 1e3
    return f"{figure(value * factor)} {shown}"
