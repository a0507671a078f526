"""Spans of time and local days. The only module here that knows of time zones."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """The instants from ``start_ms`` up to, but not including, ``end_ms``. [ms, UTC epoch]"""

    start_ms: int
    end_ms: int

    def __post_init__(self) -> None:
        if self.end_ms < self.start_ms:
            raise ValueError(f"a span ends before it starts: {self.start_ms} to {self.end_ms}")

    @property
    def length_s(self) -> float:
        """How long the span is. [s]"""
        return (self.end_ms - self.start_ms) / 1000


def local_day(day: date, zone: ZoneInfo) -> Span:
    """Return the span from local midnight to the next (23 to 25 hours; 0 for a skipped date)."""
    return Span(_midnight_ms(day, zone), _midnight_ms(day + timedelta(days=1), zone))


def days_span(first: date, last: date, zone: ZoneInfo) -> Span:
    """Return the span of the local days from ``first`` to ``last``, both included."""
    return Span(local_day(first, zone).start_ms, local_day(last, zone).end_ms)


def date_of(at_ms: int, zone: ZoneInfo) -> date:
    """Return the local date on which an instant falls; midnight belongs to the day it begins."""
    return datetime.fromtimestamp(at_ms / 1000, tz=zone).date()


def dates(first: date, last: date) -> Iterator[date]:
    """Yield the dates from ``first`` to ``last``, both included."""
    for offset in range((last - first).days + 1):
        yield first + timedelta(days=offset)


def _midnight_ms(day: date, zone: ZoneInfo) -> int:
    # Where clocks skip midnight, fold=0 reads 00:00 with the old offset: the very instant of
    # the change. Where midnight comes twice, fold=0 is the first of the two.
    midnight = datetime.combine(day, time.min, tzinfo=zone)
    return round(midnight.astimezone(UTC).timestamp() * 1000)
