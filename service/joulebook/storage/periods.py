"""The periods that blocks are made of: days and ISO weeks of UTC, the same for every site."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from joulebook.core.spans import Span

DAY_MS = 86_400_000
WEEK_MS = 7 * DAY_MS
#: 1970-01-01 was a Thursday: weeks begin three days before it. [ms, UTC epoch]
A_MONDAY_MS = -3 * DAY_MS


def day_of(at_ms: int) -> int:
    """Return the UTC day of an instant, in days since 1970-01-01."""
    return at_ms // DAY_MS


def utc_date(day: int) -> date:
    """Return the date of a UTC day, given in days since 1970-01-01."""
    return date(1970, 1, 1) + timedelta(days=day)


def day_period(day: int) -> Span:
    """Return the span of a UTC day, given in days since 1970-01-01."""
    return Span(day * DAY_MS, (day + 1) * DAY_MS)


def week_period(at_ms: int) -> Span:
    """Return the span of an instant's ISO week: Monday to Monday, UTC."""
    start_ms = at_ms - (at_ms - A_MONDAY_MS) % WEEK_MS
    return Span(start_ms, start_ms + WEEK_MS)


def weeks(span: Span) -> Iterator[Span]:
    """Cut a span where ISO weeks begin."""
    start_ms = span.start_ms
    while start_ms < span.end_ms:
        end_ms = min(week_period(start_ms).end_ms, span.end_ms)
        yield Span(start_ms, end_ms)
        start_ms = end_ms


def days_of(times: Sequence[int]) -> Iterator[int]:
    """Yield the UTC days of instants that are in order, each once."""
    place = 0
    while place < len(times):
        day = day_of(times[place])
        yield day
        place = bisect_left(times, (day + 1) * DAY_MS, place)
