"""What an owner says of a site and its battery, and how it is changed."""

import sqlite3
from dataclasses import dataclass, replace
from datetime import date
from typing import TypedDict, Unpack

from joulebook.errors import UsageError
from joulebook.storage.connections import joined
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


FACTS = tuple(SiteFacts.__annotations__)

# The bounds only catch slips of the pen; they are no statement about batteries.
_BOUNDS = {
    "battery_ah": (0.1, 100_000.0),
    "battery_cells": (1, 1_000),
    "warranty_years": (0.1, 100.0),
    "warranty_floor_ratio": (0.01, 1.0),
    "warranty_throughput_wh": (1.0, 1e12),
    "inverter_w": (10.0, 1e6),
    "inverter_peak_w": (10.0, 1e7),
}
#: What days are computed with; the others concern the whole record only.
_OF_DAYS = ("battery_ah", "battery_cells")


@dataclass(frozen=True, slots=True)
class Changed:
    """A site whose facts were changed, and how many days are computed anew for it."""

    site: Site
    days: int


def check_facts(**facts: Unpack[SiteFacts]) -> None:
    """Raise where a fact makes no sense.

    Raises
    ------
    UsageError
        If so.
    """
    for fact, (low, high) in _BOUNDS.items():
        value = facts.get(fact)
        # NaN and infinity do not pass.
        if isinstance(value, int | float) and not low <= value <= high:
            raise _refused(fact, value, f"a number from {low:g} to {high:g}")
    installed = facts.get("installed")
    if installed is not None and not 1990 <= installed.year <= 2099:
        raise _refused("installed", installed, "a date from 1990 to 2099")


@names_faults
def change_facts(connection: sqlite3.Connection, site: Site, **facts: Unpack[SiteFacts]) -> Changed:
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
    check_facts(**facts)
    changed = replace(site, **facts)
    with joined(connection):
        connection.execute(
            """
            UPDATE sites
            SET battery_ah = ?,
                battery_cells = ?,
                installed = ?,
                warranty_years = ?,
                warranty_floor_ratio = ?,
                warranty_throughput_wh = ?,
                inverter_w = ?,
                inverter_peak_w = ?
            WHERE id = ?
            """,
            (
                *(changed.battery_ah, changed.battery_cells),
                changed.installed.isoformat() if changed.installed else None,
                *(changed.warranty_years, changed.warranty_floor_ratio),
                changed.warranty_throughput_wh,
                *(changed.inverter_w, changed.inverter_peak_w, site.id),
            ),
        )
        mark_record(connection, site.id)
        concerned = any(getattr(changed, fact) != getattr(site, fact) for fact in _OF_DAYS)
        return Changed(changed, mark_span(connection, site, None, None) if concerned else 0)


def _refused(fact: str, value: object, expected: str) -> UsageError:
    return UsageError(
        f"{fact} cannot be {value}",
        where=fact,
        expected=expected,
        next_step="correct it, or leave it out: it can be missing",
    )
