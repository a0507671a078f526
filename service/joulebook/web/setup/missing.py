"""What an owner has not entered, and what cannot be told without it."""

from collections.abc import Iterable
from dataclasses import dataclass

from joulebook.storage.records import Site
from joulebook.summaries.warranty import USUAL_FLOOR_RATIO, USUAL_YEARS
from joulebook.web.setup.facts import LIMITS

_HEADROOM = "the room left above the largest starts is not told"
_EVIDENCE = "the evidence file cannot say which one it is about"
#: What each is called, and what is not told or is assumed without it.
_WHY = {
    "battery_ah": (
        "The battery's rated charge",
        "cycles, capacity and the warranty's share of it are not told",
    ),
    "battery_cells": (
        "Its cells in series",
        "no capacity is measured, for a cell's voltage is what tells it",
    ),
    "installed": (
        "The day it first ran",
        "the warranty is taken to begin with the first reading",
    ),
    "inverter_w": ("What the inverter gives for long", _HEADROOM),
    "inverter_peak_w": ("What it gives for some seconds", _HEADROOM),
    "battery_serial": ("The battery's serial number", _EVIDENCE),
    "inverter_serial": ("The inverter's serial number", _EVIDENCE),
    "warranty_years": ("How long the warranty lasts", f"{USUAL_YEARS:.0f} years are assumed"),
    "warranty_floor_ratio": (
        "What it promises at its end",
        f"{USUAL_FLOOR_RATIO:.0%} of the rated charge are assumed",
    ),
}
_LIMITS_WHY = "the evidence file cannot say whether they were kept"


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing that is not entered, and why it matters."""

    what: str
    why: str


def missing_equipment(site: Site) -> tuple[Missing, ...]:
    """Return what is not known of a site's battery and inverter."""
    return _missing(
        site,
        (
            *("battery_ah", "battery_cells", "installed", "inverter_w", "inverter_peak_w"),
            *("battery_serial", "inverter_serial"),
        ),
    )


def missing_terms(site: Site) -> tuple[Missing, ...]:
    """Return which terms are not entered; a limit of energy need not be among them."""
    terms = _missing(site, ("warranty_years", "warranty_floor_ratio"))
    if any(getattr(site, fact.name) is not None for fact in LIMITS):
        return terms
    return (*terms, Missing("Limits of temperature and voltage", _LIMITS_WHY))


def _missing(site: Site, names: Iterable[str]) -> tuple[Missing, ...]:
    return tuple(Missing(*_WHY[name]) for name in names if getattr(site, name) is None)
