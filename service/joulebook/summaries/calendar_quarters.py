"""Quarters of calendar years."""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class CalendarQuarter:
    """Three months: its name, such as ``2026-Q3``, and its first and last date."""

    name: str
    first: date
    last: date


def quarters_of(first: date, last: date) -> list[CalendarQuarter]:
    """Return the quarters that the dates from ``first`` to ``last`` touch, whole, in order."""
    found = []
    begins = date(first.year, 3 * ((first.month - 1) // 3) + 1, 1)
    while begins <= last:
        later = begins + timedelta(days=93)
        after = date(later.year, later.month, 1)
        name = f"{begins.year}-Q{(begins.month + 2) // 3}"
        found.append(CalendarQuarter(name, begins, after - timedelta(days=1)))
        begins = after
    return found
