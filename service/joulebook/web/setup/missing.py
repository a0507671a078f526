"""What an owner has not entered, and what cannot be told without it."""

from collections.abc import Iterable
from dataclasses import dataclass

from joulebook.storage.records import Site
from joulebook.web.setup.facts import LIMITS
from joulebook.web.words.setup_texts import MISSING_FACTS, MISSING_LIMITS


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
    return (*terms, Missing(*MISSING_LIMITS))


def _missing(site: Site, names: Iterable[str]) -> tuple[Missing, ...]:
    return tuple(Missing(*MISSING_FACTS[name]) for name in names if getattr(site, name) is None)
