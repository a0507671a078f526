"""Estimates, dates and spans as the contract's JSON has them."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.estimate import Estimate
from joulebook.core.history import Floats, Instants
from joulebook.core.spans import Span, date_of, dates, local_day

Document = dict[str, Any]


def number(estimate: Estimate, value: str, low: str = "low", high: str = "high") -> Document:
    """Return an estimate under the given names; the reason only where the value is null."""
    document: Document = {
        value: estimate.value,
        low: estimate.low,
        high: estimate.high,
        "coverage_ratio": estimate.coverage_ratio,
        "method": estimate.method,
    }
    if estimate.reason is not None:
        document["reason"] = estimate.reason
    return document


def suffixed(estimate: Estimate, unit: str) -> Document:
    """Return an estimate with the unit in every name: ``ah``, ``low_ah``, ``high_ah``."""
    return number(estimate, unit, f"low_{unit}", f"high_{unit}")


def unknown(names: tuple[str, ...], reason: str) -> Document:
    """Return a number that is not given."""
    return dict.fromkeys(names) | {"reason": reason}


def dates_of(span: Span, zone: ZoneInfo) -> Document:
    """Return the first and the last local date of a span."""
    last_ms = max(span.end_ms - 1, span.start_ms)
    return {"from": date_text(span.start_ms, zone), "to": date_text(last_ms, zone)}


def midnights(span: Span, zone: ZoneInfo) -> Instants:
    """Return the local midnights from the first day's to the one after the last, in ms."""
    days = dates(date_of(span.start_ms, zone), date_of(span.end_ms - 1, zone))
    spans = [local_day(day, zone) for day in days]
    return np.array([spans[0].start_ms, *(each.end_ms for each in spans)])


def date_text(at_ms: int, zone: ZoneInfo) -> str:
    """Return the local date of an instant."""
    return date_of(at_ms, zone).isoformat()


def time_text(at_ms: int, zone: ZoneInfo) -> str:
    """Return the local time of an instant, to the minute, with its offset."""
    moment = datetime.fromtimestamp(at_ms / 1000, tz=UTC).astimezone(zone)
    return moment.isoformat(timespec="minutes")


def rounded(values: Floats, digits: int) -> list[float]:
    """Return numbers with no more digits than they are worth."""
    return [round(float(each), digits) for each in values]


def short(value: float | None, digits: int) -> float | None:
    """Return a number with no more digits than it is worth."""
    return None if value is None else round(value, digits)
