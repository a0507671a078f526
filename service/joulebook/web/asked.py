"""What a request asked for: its dates, weeks, instants and widths, checked."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from joulebook.core.spans import Span, local_day
from joulebook.web.problems import ProblemError
from joulebook.web.spans.weeks import Week

#: The limits of what one answer covers.
MAX_DAYS = 4000  # eleven years
MAX_WIDTH = 4000  # [px]
MAX_PAGE = 100_000
DEFAULT_WIDTH = 400

_FIRST, _LAST = date(2000, 1, 1), date(2199, 12, 31)


def asked_date(text: str, *, where: str) -> date:
    """Return the date of ``YYYY-MM-DD`` between 2000 and 2199."""
    try:
        # fromisoformat takes other forms too, such as 20261125 and 2026-W48-3.
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).date()
    except ValueError:
        day = None
    if day is None or len(text) != 10 or not _FIRST <= day <= _LAST:
        raise ProblemError(
            422,
            "invalid-date",
            f"{text!r} is not a date that a site can have",
            where=where,
            expected="YYYY-MM-DD between 2000-01-01 and 2199-12-31, such as 2026-11-25",
            next_step="write the date in this form",
        )
    return day


def asked_days(
    from_text: str | None, to_text: str | None, *, max_days: int = MAX_DAYS
) -> tuple[date | None, date | None]:
    """Return the first and the last day, both included; ``None`` where an end was left open."""
    first = None if from_text is None else asked_date(from_text, where="query parameter 'from'")
    last = None if to_text is None else asked_date(to_text, where="query parameter 'to'")
    if first is not None and last is not None:
        if last < first:
            raise _reversed(str(from_text), str(to_text))
        if (last - first).days >= max_days:
            raise _too_long(f"{max_days} days")
    return first, last


def asked_week(name: str | None, *, today: date) -> Week:
    """Return the week of a name such as ``2026-W48``, or this week where none was named."""
    if name is None:
        return Week.of(today)
    try:
        week = Week.named(name)
    except ValueError:
        week = None
    if week is None or not _FIRST <= week.monday <= _LAST:
        raise ProblemError(
            422,
            "invalid-week",
            f"{name!r} is not a week",
            where="query parameter 'week'",
            expected="an ISO 8601 week such as 2026-W48",
            next_step="leave it out for this week",
        )
    return week


def asked_span(from_text: str | None, to_text: str | None, *, zone: ZoneInfo, now_ms: int) -> Span:
    """Return the span of readings: the last 24 hours where an end was left open.

    Each end is a date of the site (``to`` includes that day) or an RFC 3339 instant.
    """
    end_ms = now_ms if to_text is None else _end_ms(to_text, "to", zone, last=True)
    start_ms = end_ms - 86_400_000
    if from_text is not None:
        start_ms = _end_ms(from_text, "from", zone, last=False)
    if end_ms <= start_ms:
        raise _reversed(from_text or "24 hours before 'to'", to_text or "now")
    # An hour of grace: local days may hold a change of the clocks.
    if end_ms - start_ms > MAX_DAYS * 86_400_000 + 3_600_000:
        raise _too_long(f"{MAX_DAYS} days of readings")
    return Span(start_ms, end_ms)


def asked_width(text: str | None) -> int:
    """Return the width of a picture. [px]"""
    if text is None:
        return DEFAULT_WIDTH
    width = _whole(text)
    if width is None or not 10 <= width <= MAX_WIDTH:
        raise ProblemError(
            422,
            "invalid-width",
            f"{text[:40]!r} is not a width",
            where="query parameter 'width'",
            expected=f"whole pixels from 10 to {MAX_WIDTH}",
            next_step=f"leave it out for {DEFAULT_WIDTH}",
        )
    return width


def asked_page(text: str, *, link: str) -> int:
    """Return the number of a page of a list; ``link`` is its first page."""
    number = _whole(text)
    if number is None or not 1 <= number <= MAX_PAGE:
        raise ProblemError(
            422,
            "invalid-request",
            f"{text[:40]!r} is not the number of a page",
            where="query parameter 'page'",
            expected=f"a whole number from 1 to {MAX_PAGE}",
            next_step="leave it out for the newest",
            link=link,
        )
    return number


def _whole(text: str) -> int | None:
    """Return a number of up to nine digits; longer ones are none that we ask for."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _end_ms(text: str, name: str, zone: ZoneInfo, *, last: bool) -> int:
    if len(text) == 10:
        day = local_day(asked_date(text, where=f"query parameter {name!r}"), zone)
        return day.end_ms if last else day.start_ms
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None or not _FIRST <= at.date() <= _LAST:
        raise ProblemError(
            422,
            "invalid-instant",
            f"{text[:60]!r} is not a point in time",
            where=f"query parameter {name!r}",
            expected="a date (2026-11-25) or an RFC 3339 time with its offset "
            "(2026-11-25T07:00:00Z)",
            next_step="write it in one of these forms; a plus sign in an address is %2B",
        )
    return round(at.timestamp() * 1000)


def _reversed(from_text: str, to_text: str) -> ProblemError:
    return ProblemError(
        422,
        "span-reversed",
        f"from {from_text} to {to_text} is no span of time",
        where="query parameters 'from' and 'to'",
        expected="'from' before 'to'",
        next_step="exchange them",
    )


def _too_long(limit: str) -> ProblemError:
    return ProblemError(
        422,
        "span-too-long",
        f"more than {limit} were asked for at once",
        where="query parameters 'from' and 'to'",
        expected=f"at most {limit}",
        next_step="ask for a shorter span, several times",
    )
