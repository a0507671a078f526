"""Quiet hours and the letter's hour, on the clock of the site."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.spans import clock_ms, date_of, local_clock
from joulebook.storage.alert_settings import AlertSettings

#: A letter that could not be sent at its hour is sent up to so much later. [ms]
LETTER_LATE_MS = 2 * 86_400_000


def not_before_ms(settings: AlertSettings, zone: ZoneInfo, now_ms: int, *, dangerous: bool) -> int:
    """Return when something may be told: now, or at the end of the quiet hours. [ms, UTC epoch]"""
    begin, end = settings.quiet_from, settings.quiet_to
    if begin is None or end is None or (dangerous and settings.dangerous_anyway):
        return now_ms
    _, (minute,) = local_clock(np.array([now_ms]), zone)
    quiet = begin <= minute < end if begin < end else minute >= begin or minute < end
    if not quiet:
        return now_ms
    today = date_of(now_ms, zone)
    ends = (clock_ms(day, end, zone) for day in (today, today + timedelta(days=1)))
    return next(at_ms for at_ms in ends if at_ms > now_ms)


def letter_due(settings: AlertSettings, zone: ZoneInfo, now_ms: int) -> str | None:
    """Return the ISO week whose letter is to be sent now, ``None`` where none is.

    An hour that the clocks skip is the one after it; one that comes twice is the first.
    """
    if settings.letter_day is None or settings.letter_hour is None:
        return None
    today = date_of(now_ms, zone)
    monday = today - timedelta(days=today.weekday())
    for week in (monday, monday - timedelta(weeks=1)):
        day = week + timedelta(days=settings.letter_day)
        due_ms = clock_ms(day, 60 * settings.letter_hour, zone)
        if due_ms <= now_ms < due_ms + LETTER_LATE_MS:
            year, number, _ = week.isocalendar()
            return f"{year:04d}-W{number:02d}"
    return None
