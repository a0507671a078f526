"""A home's numbers, as they are kept in its line: a few of the many that its analysis holds."""

import math
from datetime import date

import msgspec

from joulebook.core.history import DAYS_PER_YEAR
from joulebook.storage.database import Connection
from joulebook.storage.records import Site
from joulebook.summaries.efficiency_report import why_no_record
from joulebook.summaries.numbers import Document, date_text
from joulebook.summaries.site_records import StoredRecord, stored_record

#: What of the analysis is read: the whole of ten years is much larger.
_PARTS = ("capacity", "fade", "forecast", "warranty", "through", "rated_ah", "to_ms", "from_ms")


class Measured(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A number with its 90 % interval, or why it is not given."""

    value: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str | None = None


class Outlook(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What becomes of a battery until its warranty ends.

    Attributes
    ----------
    ends, floor_ratio : str, float
        Of the warranty: its date, and what is promised until then. [of rated]
    assumed : bool
        Whether a term was assumed, for nobody entered it.
    expected, low, high : float or None
        Held on that day, and the interval of 90 %. [of rated]
    chance : float or None
        That the floor is held until then.
    floor_reached : str or None
        When half of the futures have fallen below the floor, ``beyond`` for later than 15 years.
    reason : str or None
        Why no middle or no chance is given.
    """

    ends: str
    floor_ratio: float
    assumed: bool
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    chance: float | None = None
    floor_reached: str | None = None
    reason: str | None = None


class Numbers(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is known of a home by its analysis.

    Attributes
    ----------
    capacity : Measured
        The newest. [of rated]
    fade : Measured
        Loss, above zero for one. [ratio per year]
    heat, cycles, age_years : float or None
        Thermal years and full cycles a year, and years since it first ran; the last only where
        its owner entered that day.
    outlook : Outlook or None
    first, last : str or None
        Days of the first and the last reading that was analysed.
    """

    capacity: Measured
    fade: Measured
    heat: float | None = None
    cycles: float | None = None
    age_years: float | None = None
    outlook: Outlook | None = None
    first: str | None = None
    last: str | None = None


def home_numbers(connection: Connection, site: Site) -> Numbers:
    """Return a home's numbers by its stored analysis."""
    stored = stored_record(connection, site, _PARTS)
    if stored is None or "reason" in stored.document:
        why = Measured(reason=why_no_record(stored))
        return Numbers(capacity=why, fade=why)
    return _of_record(stored, site)


def _of_record(stored: StoredRecord, site: Site) -> Numbers:
    found = stored.document
    warranty, use = found["warranty"], found["through"]["per_year"]
    last = date_text(found["to_ms"] - 1, site.zone)
    age = None
    if site.installed is not None:
        age = max((date.fromisoformat(last) - site.installed).days / DAYS_PER_YEAR, 0.0)
    return Numbers(
        capacity=_measured(found["capacity"]["latest"], "ah", found["rated_ah"]),
        fade=_measured(found["fade"], "ratio_per_year"),
        heat=_finite(use["thermal_years"]),
        cycles=_finite(use["efc"]),
        age_years=age,
        outlook=_outlook(warranty, found["forecast"]),
        first=date_text(found["from_ms"], site.zone),
        last=last,
    )


def _measured(document: Document, unit: str, whole: float = 1.0) -> Measured:
    """Return a number of a document, over the whole that it is a part of."""
    ends = ("low", "high") if unit == "ratio_per_year" else (f"low_{unit}", f"high_{unit}")
    value, low, high = (
        None if (part := document[name]) is None else part / whole for name in (unit, *ends)
    )
    return Measured(value=value, low=low, high=high, reason=document.get("reason"))


def _outlook(warranty: Document, forecast: Document) -> Outlook:
    reached = forecast["floor_reached"]
    return Outlook(
        ends=warranty["ends"],
        floor_ratio=warranty["floor_ratio"],
        assumed=bool(warranty["assumed"]),
        expected=forecast["expected_ratio"],
        low=forecast["low"],
        high=forecast["high"],
        chance=forecast["probability_met"],
        floor_reached=None if reached is None else reached["middle"],
        reason=forecast.get("reason"),
    )


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
