"""The facts of a site as its owner reads and writes them: label, unit, and what they are for."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, cast

from joulebook.storage.records import Site
from joulebook.storage.site_facts import BOUNDS, LONGEST_TEXT, SiteFacts
from joulebook.web.access.forms import Form
from joulebook.web.region import formats
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.setup_texts import FACT_HINTS, FACT_LABELS

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
    kind: Kind
    unit: str
    hint: str
    scale: float


def _fact(name: str, unit: str = "", *, kind: Kind = "number", scale: float = 1.0) -> Fact:
    label, hint = FACT_LABELS[name], FACT_HINTS.get(name, "")
    return Fact(name=name, label=label, kind=kind, unit=unit, hint=hint, scale=scale)


def _names(device: str) -> tuple[Fact, ...]:
    return tuple(_fact(f"{device}_{each}", kind="text") for each in ("maker", "model", "serial"))


BATTERY = (
    _fact("battery_ah", "Ah"),
    _fact("battery_cells", kind="whole"),
    _fact("installed", kind="date"),
    *_names("battery"),
)
INVERTER = (_fact("inverter_w", "W"), _fact("inverter_peak_w", "W"), *_names("inverter"))
PEOPLE = (_fact("installer", kind="text"), _fact("commissioned", kind="date"))
WARRANTY = (
    _fact("warranty_years", "years"),
    _fact("warranty_floor_ratio", "% of the rated charge", scale=100),
    _fact("warranty_throughput_wh", "kWh", scale=0.001),
)
LIMITS = (
    _fact("charge_low_c", "°C"),
    _fact("charge_high_c", "°C"),
    _fact("discharge_low_c", "°C"),
    _fact("discharge_high_c", "°C"),
    _fact("charge_max_v", "V"),
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
            form.errors[high] = faults.above_coldest(lowest)
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
