"""What an owner says of a site, its equipment and its terms, and how it is changed."""

from dataclasses import dataclass, replace
from datetime import date
from typing import TypedDict, Unpack, cast

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.days import mark_span
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import mark_record
from joulebook.storage.records import Site


class SiteFacts(TypedDict, total=False):
    """What an owner may say about a site; each in the unit of :class:`Site`."""

    battery_ah: float | None
    battery_cells: int | None
    installed: date | None
    warranty_years: float | None
    warranty_floor_ratio: float | None
    warranty_throughput_wh: float | None
    inverter_w: float | None
    inverter_peak_w: float | None
    charge_low_c: float | None
    charge_high_c: float | None
    discharge_low_c: float | None
    discharge_high_c: float | None
    charge_max_v: float | None
    battery_maker: str | None
    battery_model: str | None
    battery_serial: str | None
    inverter_maker: str | None
    inverter_model: str | None
    inverter_serial: str | None
    installer: str | None
    commissioned: date | None
    locale: str | None


FACTS = tuple(SiteFacts.__annotations__)

# The bounds only catch slips of the pen; they are no statement about batteries.
BOUNDS = {
    "battery_ah": (0.1, 100_000.0),
    "battery_cells": (1, 1_000),
    "warranty_years": (0.1, 100.0),
    "warranty_floor_ratio": (0.01, 1.0),
    "warranty_throughput_wh": (1.0, 1e12),
    "inverter_w": (10.0, 1e6),
    "inverter_peak_w": (10.0, 1e7),
    "charge_low_c": (-60.0, 100.0),
    "charge_high_c": (-60.0, 100.0),
    "discharge_low_c": (-60.0, 100.0),
    "discharge_high_c": (-60.0, 100.0),
    "charge_max_v": (1.0, 2_000.0),
}
#: A text about the equipment has at most so many characters.
LONGEST_TEXT = 80
_TEXTS = (
    *("battery_maker", "battery_model", "battery_serial"),
    *("inverter_maker", "inverter_model", "inverter_serial", "installer", "locale"),
)
#: A low end, and the high end that must lie above it.
_ENDS = (("charge_low_c", "charge_high_c"), ("discharge_low_c", "discharge_high_c"))

#: What days are computed with; and what is only told, and no number rests on.
_OF_DAYS = ("battery_ah", "battery_cells")
_TOLD = frozenset(FACTS[FACTS.index("charge_low_c") :])


@dataclass(frozen=True, slots=True)
class Changed:
    """A site whose facts were changed, and how many days are computed anew for it."""

    site: Site
    days: int


def facts_of(site: Site) -> SiteFacts:
    """Return all that is said of a site; ``None`` where nothing is."""
    return cast(SiteFacts, {fact: getattr(site, fact) for fact in FACTS})


def analysed_facts(site: Site) -> tuple[object, ...]:
    """Return what the analysis of a record depends on: facts that are only told are left out."""
    return (site.timezone, *(getattr(site, fact) for fact in FACTS if fact not in _TOLD))


def check_facts(**facts: Unpack[SiteFacts]) -> None:
    """Raise where a fact makes no sense; ``where`` of the error is the fact.

    Raises
    ------
    UsageError
        If so.
    """
    for fact, (low, high) in BOUNDS.items():
        value = facts.get(fact)
        # NaN and infinity do not pass.
        if isinstance(value, int | float) and not low <= value <= high:
            raise _refused(fact, value, f"a number from {low:g} to {high:g}")
    for fact in ("installed", "commissioned"):
        day = facts.get(fact)
        if isinstance(day, date) and not 1990 <= day.year <= 2099:
            raise _refused(fact, day, "a date from 1990 to 2099")
    for fact in _TEXTS:
        text = facts.get(fact)
        if isinstance(text, str) and not (text.isprintable() and 0 < len(text) <= LONGEST_TEXT):
            raise _refused(fact, repr(text[:40]), f"1 to {LONGEST_TEXT} characters on one line")
    for lower, upper in _ENDS:
        low_c, high_c = facts.get(lower), facts.get(upper)
        if isinstance(low_c, float) and isinstance(high_c, float) and low_c >= high_c:
            raise _refused(upper, high_c, f"a temperature above {lower}, which is {low_c:g}")


@names_faults
def change_facts(connection: Connection, site: Site, **facts: Unpack[SiteFacts]) -> Changed:
    """Change what is known of a site, and mark what was computed with it, in one transaction.

    Parameters
    ----------
    **facts
        What to change; ``None`` forgets a fact, and those not given stay.

    Raises
    ------
    UsageError
        If a fact makes no sense.
    """
    changed = replace(site, **facts)
    check_facts(**facts_of(changed))
    with joined(connection):
        connection.execute(
            """
            UPDATE sites
            SET battery_ah = :battery_ah,
                battery_cells = :battery_cells,
                installed = :installed,
                warranty_years = :warranty_years,
                warranty_floor_ratio = :warranty_floor_ratio,
                warranty_throughput_wh = :warranty_throughput_wh,
                inverter_w = :inverter_w,
                inverter_peak_w = :inverter_peak_w,
                charge_low_c = :charge_low_c,
                charge_high_c = :charge_high_c,
                discharge_low_c = :discharge_low_c,
                discharge_high_c = :discharge_high_c,
                charge_max_v = :charge_max_v,
                battery_maker = :battery_maker,
                battery_model = :battery_model,
                battery_serial = :battery_serial,
                inverter_maker = :inverter_maker,
                inverter_model = :inverter_model,
                inverter_serial = :inverter_serial,
                installer = :installer,
                commissioned = :commissioned,
                locale = :locale
            WHERE id = :id
            """,
            {fact: _stored(getattr(changed, fact)) for fact in ("id", *FACTS)},
        )
        if not _TOLD.issuperset(facts):
            mark_record(connection, site.id)
        concerned = any(getattr(changed, fact) != getattr(site, fact) for fact in _OF_DAYS)
        return Changed(changed, mark_span(connection, site, None, None) if concerned else 0)


def _stored(value: object) -> object:
    return value.isoformat() if isinstance(value, date) else value


def _refused(fact: str, value: object, expected: str) -> UsageError:
    return UsageError(
        f"{fact} cannot be {value}",
        where=fact,
        expected=expected,
        next_step="correct it, or leave it out: it can be missing",
    )
