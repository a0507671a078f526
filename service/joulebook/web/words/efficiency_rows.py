"""The rows of the page of efficiency, and what its numbers rest on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from joulebook.core.spans import date_of
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.analyses import Stretch
from joulebook.web.region import formats
from joulebook.web.shown import (
    KWH_A_YEAR,
    KWH_WHOLE,
    PERCENT,
    POINTS,
    WATTS,
    WATTS_FINE,
    Shown,
    Unit,
    shown,
)
from joulebook.web.words.money_sentences import amount_unit
from joulebook.web.words.record_texts import EVENT_KINDS

#: What is compared before and after an event: its words, the unit, the unit of a difference.
_COMPARED: dict[str, tuple[str, Unit, Unit]] = {
    "round_trip": ("Battery gave back", PERCENT, POINTS),
    "idle_w": ("Inverter at idle", WATTS_FINE, WATTS_FINE),
    "loss_w": ("Inverter's loss at that load", WATTS_FINE, WATTS_FINE),
}


@dataclass(frozen=True, slots=True)
class QuarterLine:
    """A quarter's round trip, and how many stretches it rests on."""

    name: str
    note: str
    row: Shown
    used: int
    left_out: int


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One number before and after an event."""

    label: str
    verdict: str
    before: Shown
    after: Shown
    difference: Shown


@dataclass(frozen=True, slots=True)
class Change:
    """An event and what it changed; ``before`` and ``after`` are windows in words."""

    title: str
    kind: str
    date: str
    before: str
    after: str
    lines: list[ChangeLine]


@dataclass(frozen=True, slots=True)
class StretchLine:
    """A stretch from full to full in the table."""

    day: str
    charge_wh: float
    discharge_wh: float
    why_not: str | None


def number_rows(report: Document) -> list[Shown]:
    """Return the rows of the first table."""
    idle, conversion = report["idle_w"], report["conversion"]
    load_w = conversion["inputs"].get("load_w")
    at_load = f"at {WATTS.text(load_w)}, the usual night load" if load_w else ""
    rows = [
        shown(
            "Battery gave back", report["round_trip"], "ratio", PERCENT, note="at its terminals, DC"
        ),
        shown("Inverter at idle", idle, "value", WATTS_FINE),
        shown("the same, a year", idle, "value", KWH_A_YEAR),
        shown("Inverter passed on", conversion, "ratio", PERCENT, note=at_load),
    ]
    if "loss_w" in report:
        rows.append(shown("Inverter kept", report["loss_w"], "value", WATTS, note=at_load))
    return rows


def cost_rows(cost: Document | None) -> list[Shown]:
    """Return what losses and idle draw cost a year; nothing without a tariff."""
    if cost is None:
        return []
    unit = amount_unit(cost["currency"])
    begins = formats.iso_brief(cost["from"])
    return [
        shown("Idle draw costs", cost["idle_year"], "amount", unit, note="a year, at your tariff"),
        shown("All losses cost", cost["losses"], "amount", unit, note=f"since {begins}"),
    ]


def quarter_lines(report: Document) -> list[QuarterLine]:
    """Return the quarters, the oldest first; one cut by an event says from when to when."""
    lines = []
    for quarter in report["quarters"]:
        inputs = quarter["inputs"]
        ends = (quarter["from"], min(quarter["to"], report["record"]["to"]))
        is_part = " " in quarter["name"]
        lines.append(
            QuarterLine(
                name=formats.quarter(date.fromisoformat(quarter["from"])),
                note=" to ".join(formats.iso_brief(each) for each in ends) if is_part else "",
                row=shown(quarter["name"], quarter, "ratio", PERCENT),
                used=inputs["segments_used"],
                left_out=sum(inputs["segments_left_out"].values()),
            )
        )
    return lines


def change_of(change: Document) -> Change:
    """Return what an event changed, number by number."""
    numbers = change["numbers"]
    first = next(iter(numbers.values()))
    return Change(
        title=change["title"],
        kind=EVENT_KINDS[change["kind"]],
        date=change["date"],
        before=_window(first["before"]),
        after=_window(first["after"]),
        lines=[
            ChangeLine(
                label=label,
                verdict=numbers[name]["verdict"],
                before=shown("before", numbers[name]["before"], "value", unit),
                after=shown("after", numbers[name]["after"], "value", unit),
                difference=_difference(numbers[name], by),
            )
            for name, (label, unit, by) in _COMPARED.items()
            if name in numbers
        ],
    )


def _difference(number: Document, unit: Unit) -> Shown:
    """Return the row of what is after less what was before, with its sign."""
    row, value = shown("difference", number, "difference", unit), number["difference"]
    return row if value is None else replace(row, value=unit.signed(value))


def stretch_lines(stretches: Sequence[Stretch], site: Site) -> list[StretchLine]:
    """Return stretches as the table has them, by the day on which each began full."""
    return [
        StretchLine(
            day=formats.day_brief(date_of(each.from_ms, site.zone)),
            charge_wh=each.charge_wh,
            discharge_wh=each.discharge_wh,
            why_not=each.why_not,
        )
        for each in stretches
    ]


def facts_of(report: Document) -> dict[str, list[tuple[str, str]]]:
    """Return what each number was computed from, as pairs of a name and words."""
    return {
        "round_trip": _round_trip_facts(report["round_trip"]),
        "idle_w": _night_facts(report["idle_w"]),
        "conversion": _night_facts(report["conversion"]),
    }


def _round_trip_facts(trip: Document) -> list[tuple[str, str]]:
    inputs = trip["inputs"]
    facts = _time(trip)
    if inputs.get("charge_wh"):
        facts.append(
            (
                "Counted",
                f"{KWH_WHOLE.text(inputs['charge_wh'])} in,"
                f" {KWH_WHOLE.text(inputs['discharge_wh'])} out,"
                f" over {inputs['hours']:.0f} measured hours",
            )
        )
    if inputs.get("offset_a") is not None:
        facts.append(
            (
                "Zero of the current sensor, removed",
                f"{formats.fixed(inputs['offset_a'], 3)} A ± "
                f"{formats.fixed(inputs['offset_u_a'], 3)} A (standard uncertainty), with "
                f"{inputs['rest_hours']:.0f} hours of rest to tell it; without, "
                f"the number would be {PERCENT.text(inputs['uncorrected_ratio'])}",
            )
        )
    facts += [
        ("Left out", f"{count} stretches: {words}")
        for words, count in inputs.get("segments_left_out", {}).items()
    ]
    return facts + [("Taken for granted", words) for words in trip["assumptions"]]


def _night_facts(number: Document) -> list[tuple[str, str]]:
    inputs = number["inputs"]
    facts = _time(number)
    if inputs.get("nights"):
        facts.append(("Told by", f"{inputs['hours']:.0f} hours of {inputs['nights']} nights"))
    return facts + [("Taken for granted", words) for words in number["assumptions"]]


def _time(number: Document) -> list[tuple[str, str]]:
    return [] if number["from"] is None else [("Time", _window(number))]


def _window(number: Document) -> str:
    return f"{formats.iso_plain(number['from'])} to {formats.iso_plain(number['to'])}"
