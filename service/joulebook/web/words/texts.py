"""The English of the pages, apart from what only a template says."""
# ruff: noqa: RUF001 -- true minus and multiplication signs, as a person reads them

from dataclasses import dataclass

#: Titles of problem documents by kind; each has its paragraph on the page of operations.
PROBLEMS = {
    "not-found": "Nothing here",
    "unknown-site": "No such site",
    "unknown-device": "No such device",
    "unknown-quantity": "No such quantity",
    "not-numbers": "Not a quantity of numbers",
    "invalid-date": "Not a date",
    "invalid-week": "Not a week",
    "invalid-instant": "Not a point in time",
    "invalid-width": "Not a width",
    "invalid-request": "Not a valid request",
    "span-reversed": "The end is before the start",
    "span-too-long": "Too much at once",
    "not-yet": "Not yet",
    "method-not-allowed": "This cannot be done here",
    "not-readings": "Not a form that readings come in",
    "not-signed-in": "Not signed in",
    "not-yours": "Not yours to see or change",
    "too-many-attempts": "Too many attempts",
    "not-from-here": "Not sent from a page of ours",
    "not-a-form": "Not a form of ours",
    "too-long": "Too long",
    "too-fast": "Too many requests",
    "too-slow": "Too slow",
    "busy": "Too much at the same time",
    "set-aside": "Kept, and not usable",
    "unavailable": "The store is away for the moment",
    "data-refused": "Data that must not be touched",
    "internal-error": "A mistake of ours",
}

#: The pages of a site, as the row at the top names them.
PAGES = {
    "week": "This week",
    "day": "Today",
    "months": "Months",
    "checks": "Checks",
    "carry": "Carry",
    "efficiency": "Efficiency",
    "wear": "Wear",
    "warranty": "Warranty",
    "money": "Money",
    "alerts": "Alerts",
    "quarantine": "Set aside",
    "setup": "Setup",
}
#: What a phone says of the pages where they are put on its home screen.
DESCRIPTION = "What a home battery's logger knows. It measures and never controls."
#: How numbers and dates may be written, beside the regions.
REGION_ASKED, REGION_PLAIN = "As a site or the browser says", "Plain: 25 November 2026"
#: The links between parts of a day.
ZOOM = {
    "earlier": "Earlier",
    "later": "Later",
    "closer": "Closer",
    "wider": "Wider",
    "whole": "Whole day",
}

#: Why a number is not given, where no floor below says it.
NO_READINGS = "no readings"
NOT_SUMMED = "the readings of this day are not summed up yet"
NO_WEEK = "no reading of that week is there"
SAME_REASON = "for the same reason as above"

#: A silence after which the newest readings say nothing of now. [s]
STALE_AFTER_S = 600

#: What a number is called in a table, by the field's name in the JSON documents.
LABELS = {
    "pv_wh": "Made by the panels",
    "load_wh": "Used",
    "grid_import_wh": "Bought from the grid",
    "grid_export_wh": "Sold to the grid",
    "battery_charge_wh": "Into the battery",
    "battery_discharge_wh": "Out of the battery",
    "loss_wh": "Lost on the way",
    "efc": "Full cycles, equivalent",
}
#: The same in one word, for a narrow column.
SHORT_LABELS = {
    "pv_wh": "Made",
    "load_wh": "Used",
    "grid_import_wh": "Bought",
    "grid_export_wh": "Sold",
    "battery_charge_wh": "In",
    "battery_discharge_wh": "Out",
    "loss_wh": "Lost",
    "efc": "Cycles",
}

#: What the sign of a power means, by device kind: above zero, below zero.
DIRECTIONS = {
    "battery": ("filling", "emptying"),
    "grid": ("buying", "selling"),
}
DEVICE_WORDS = {
    "pv": "Panels",
    "load": "Use",
    "grid": "Grid",
    "battery": "Battery",
    "inverter": "Inverter",
    "ambient": "Room",
}


@dataclass(frozen=True, slots=True)
class Working:
    """How a number comes about: what is put in, and the formula."""

    formula: str
    inputs: str
    source: str


_TRAPEZOID = (
    "Between two readings the power is taken to run in a straight line; the part above zero and "
    "the part below zero are added up apart. A silence longer than the longest gap allowed is not "
    "bridged: it counts as not measured."
)
_SITE_METERS = "Trapezoidal rule (any handbook of numerical methods)."

WORKINGS = {
    "pv_wh": Working(f"E = Σ P · Δt. {_TRAPEZOID}", "power of every pv device", _SITE_METERS),
    "load_wh": Working(
        f"E = Σ P · Δt. {_TRAPEZOID}",
        "power of every load device, or of its two legs",
        _SITE_METERS,
    ),
    "grid_import_wh": Working(
        f"E = Σ P · Δt where P > 0. {_TRAPEZOID}",
        "power of every grid device",
        _SITE_METERS,
    ),
    "grid_export_wh": Working(
        f"E = Σ −P · Δt where P < 0. {_TRAPEZOID}",
        "power of every grid device",
        _SITE_METERS,
    ),
    "battery_charge_wh": Working(
        f"E = Σ P · Δt where P > 0 (P fills the battery). {_TRAPEZOID}",
        "power of every battery, or its voltage × current",
        _SITE_METERS,
    ),
    "battery_discharge_wh": Working(
        f"E = Σ −P · Δt where P < 0 (P empties the battery). {_TRAPEZOID}",
        "power of every battery, or its voltage × current",
        _SITE_METERS,
    ),
    "loss_wh": Working(
        "loss = made + bought + out of the battery − used − sold − into the battery. It is what "
        "the inverter, the cables and its own standby kept, and it carries the errors of all six.",
        "the six energies above, over the same time",
        "Conservation of energy.",
    ),
    "efc": Working(
        "EFC = Σ |I| · Δt ÷ (2 · rated charge). One equivalent full cycle is one full charge and "
        "one full discharge of the rated charge, however it was divided.",
        "current of every battery; the rated charge that the owner entered",
        "Common practice of the trade.",
    ),
}

#: The same for what a window of days says of efficiency.
EFFICIENCY_WORKINGS = {
    "round_trip": Working(
        "The battery gave back s · s of what it took, where out = s · (in · s − change of what is "
        "stored): half of the loss on the way in, half on the way out. The change is taken from "
        "the battery's own state of charge at the ends.",
        "battery power and state of charge where both are known; rated charge and cells",
        "Conservation of energy.",
    ),
    "conversion": Working(
        "AC out ÷ DC in, over the dark hours in which the battery alone feeds the inverter.",
        "battery, grid and load power",
        "Common practice of the trade.",
    ),
    "idle_w": Working(
        "What the inverter takes when it gives nothing: a line through DC in against AC out in "
        "the dark hours, followed down to zero.",
        "battery, grid and load power",
        "Common practice of the trade.",
    ),
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a message was set aside, in a few words, and what to do about it."""

    title: str
    next_step: str


_SEE_UNITS = "docs/wire-format.md lists the units."
_REFUSALS = {
    "time-too-old": Refusal(
        "Dated before 2015", "Set the clock of the bridge: readings this old are not believed."
    ),
    "time-ahead": Refusal(
        "Dated ahead",
        "Set the clock of the bridge, or of this machine: one of them is wrong. If it was this "
        "machine's, try again once it is right.",
    ),
    "unit-unknown": Refusal("Unknown unit", f"Send a unit of RFC 8428 or RFC 8798; {_SEE_UNITS}"),
    "unit-wrong": Refusal(
        "Wrong unit", f"Send a unit that converts to the quantity's own; {_SEE_UNITS}"
    ),
    "unit-missing": Refusal("No unit", f"Send the unit with the reading; {_SEE_UNITS}"),
    "kind-wrong": Refusal(
        "Another kind of value",
        "Send numbers as numbers, or give the new kind of value another name.",
    ),
    "site-not-allowed": Refusal(
        "Not this token's site", "Use a token of that site: each token writes to one site only."
    ),
    "site-unknown": Refusal("Unknown site", "Add the site, or correct its name at the sender."),
    "topic-invalid": Refusal(
        "Not a topic of ours",
        "Publish to joulebook/v1/SITE/DEVICE; docs/wire-format.md shows how.",
    ),
    "name-illegal": Refusal(
        "Name not allowed",
        "Use small letters, digits and underscores; docs/wire-format.md has the form.",
    ),
    "quantities-too-many": Refusal(
        "Too many quantities", "Look at the program that sends: it makes up names of quantities."
    ),
    "devices-too-many": Refusal(
        "Too many devices", "Look at the program that sends: it makes up names of devices."
    ),
    "json-malformed": Refusal(
        "Not JSON", "Look at the program that sends: what it wrote cannot be read."
    ),
    "internal-error": Refusal("A mistake of ours", "The log has the traceback. Please report it."),
}
_OTHER_NEXT = (
    "Correct at the sender what the sentence names. What is set aside stays here and is counted "
    "nowhere; later readings are not affected."
)


def refusal(reason: str) -> Refusal:
    """Return the words for the code of a reason; a code without its own is read out."""
    return _REFUSALS.get(reason) or Refusal(reason.replace("-", " ").capitalize(), _OTHER_NEXT)
