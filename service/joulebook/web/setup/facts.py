"""The facts of a site as its owner reads and writes them: label, unit, and what they are for."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, cast

from joulebook.storage.records import Site
from joulebook.storage.site_facts import BOUNDS, LONGEST_TEXT, SiteFacts
from joulebook.web.access.forms import Form
from joulebook.web.region import formats

#: Of a field: what is typed into it.
Kind = Literal["number", "whole", "date", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One fact.

    Attributes
    ----------
    name : str
        Of the field in storage, and of the form's.
    label, hint, unit : str
        As the form shows them.
    kind : Kind
        What is typed.
    scale : float
        What a person reads is so many times what is stored.
    """

    name: str
    label: str
    kind: Kind = "number"
    unit: str = ""
    hint: str = ""
    scale: float = 1.0


def _texts(device: str, word: str) -> tuple[Fact, ...]:
    return (
        Fact(name=f"{device}_maker", label=f"{word}: maker", kind="text"),
        Fact(name=f"{device}_model", label=f"{word}: model", kind="text"),
        Fact(
            name=f"{device}_serial",
            label=f"{word}: serial number",
            kind="text",
            hint="Of several, all of them.",
        ),
    )


BATTERY = (
    Fact(
        name="battery_ah",
        label="Rated charge",
        unit="Ah",
        hint="As on the label or in the data sheet; of packs in parallel, all of them together.",
    ),
    Fact(
        name="battery_cells",
        label="Cells in series",
        kind="whole",
        hint="16 in most batteries of 48 volts.",
    ),
    Fact(name="installed", label="Battery first ran on", kind="date"),
    *_texts("battery", "Battery"),
)
INVERTER = (
    Fact(
        name="inverter_w", label="Inverter gives for long", unit="W", hint="Its continuous rating."
    ),
    Fact(
        name="inverter_peak_w",
        label="Inverter gives for some seconds",
        unit="W",
        hint="Its surge rating: what it may give while something large starts.",
    ),
    *_texts("inverter", "Inverter"),
)
PEOPLE = (
    Fact(name="installer", label="Installed by", kind="text", hint="A name, or a firm."),
    Fact(name="commissioned", label="Handed over on", kind="date"),
)
WARRANTY = (
    Fact(
        name="warranty_years",
        label="The warranty lasts",
        unit="years",
        hint="From the day it first ran.",
    ),
    Fact(
        name="warranty_floor_ratio",
        label="Promised at the warranty's end",
        unit="% of the rated charge",
        scale=100,
    ),
    Fact(
        name="warranty_throughput_wh",
        label="Over earlier, after so much energy out",
        unit="kWh",
        scale=0.001,
        hint="Leave it empty where your terms have no such limit.",
    ),
)
LIMITS = (
    Fact(name="charge_low_c", label="Charging: coldest cell", unit="°C"),
    Fact(name="charge_high_c", label="Charging: hottest cell", unit="°C"),
    Fact(name="discharge_low_c", label="Discharging: coldest cell", unit="°C"),
    Fact(name="discharge_high_c", label="Discharging: hottest cell", unit="°C"),
    Fact(
        name="charge_max_v",
        label="Charging: highest voltage",
        unit="V",
        hint="Of the whole battery, not of a cell.",
    ),
)
ALL = {fact.name: fact for fact in (*BATTERY, *INVERTER, *PEOPLE, *WARRANTY, *LIMITS)}
#: Of every form: the field's name and what it is called where faults are listed.
LABELS = {name: fact.label for name, fact in ALL.items()}

_PAIRS = (("charge_low_c", "charge_high_c"), ("discharge_low_c", "discharge_high_c"))


def typed(site: Site, fact: Fact) -> str:
    """Return what stands in a fact's field: the number without its unit, the date as ISO."""
    value = getattr(site, fact.name)
    if value is None:
        return ""
    return f"{value * fact.scale:.10g}" if fact.kind == "number" else str(value)


def words(name: str, value: Any) -> str:
    """Return a fact in words, "200 Ah"; ``value`` is as stored, a date also as ISO text."""
    if value is None:
        return "nothing"
    fact = ALL.get(name)
    if fact is None or fact.kind == "text":
        return str(value)
    if fact.kind == "date":
        return formats.day_plain(value if isinstance(value, date) else date.fromisoformat(value))
    number = f"{value * fact.scale:.10g}".replace("-", "\N{MINUS SIGN}")
    return f"{number}{formats.NBSP}{fact.unit}" if fact.unit else number


def read_facts(form: Form, facts: Sequence[Fact]) -> SiteFacts:
    """Return what a form says of facts; ``None`` where a field is empty, or wrong and noted."""
    found = {fact.name: _read(form, fact) for fact in facts}
    for low, high in _PAIRS:
        lowest, highest = found.get(low), found.get(high)
        if isinstance(lowest, float) and isinstance(highest, float) and lowest >= highest:
            form.errors[high] = f"Above the coldest, which is {lowest:g} °C."
    return cast(SiteFacts, found)


def _read(form: Form, fact: Fact) -> object:
    if fact.kind == "date":
        return form.day(fact.name)
    if fact.kind == "text":
        return form.text(fact.name, most=LONGEST_TEXT) or None
    low, high = BOUNDS[fact.name]
    if fact.kind == "whole":
        return form.whole(fact.name, low=int(low), high=int(high))
    number = form.number(fact.name, low=low * fact.scale, high=high * fact.scale)
    return None if number is None else number / fact.scale
