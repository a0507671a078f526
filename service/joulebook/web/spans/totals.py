"""Totals of several days as pages show them: of the time that has passed so far."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.core.spans import local_day
from joulebook.summaries.windows import SUM_METHOD, total
from joulebook.web.words import texts


def elapsed_hours(first: date, last: date, *, zone: ZoneInfo, now_ms: int) -> float:
    """Return how many hours of the days from ``first`` to ``last`` have passed. [h]"""
    start_ms = local_day(first, zone).start_ms
    end_ms = min(local_day(last, zone).end_ms, now_ms)
    return max(0, end_ms - start_ms) / 3_600_000


def totals_of(days: Sequence[DayResult], *, hours: float) -> dict[str, Estimate]:
    """Return the total of each number that pages show, by its field name.

    Parameters
    ----------
    days : sequence of DayResult
        The results there are; days without one are absent, and lower the coverage.
    hours : float
        The time that the totals are about. [h]
    """
    return {
        name: total(days, name, window_h=hours, method=_method(days, name)) for name in texts.LABELS
    }


def numbers_of(day: DayResult, *, hours: float) -> dict[str, Estimate]:
    """Return the numbers of one day, covered as a share of the hours of it that have passed."""
    return {
        name: replace(
            day.numbers[name],
            coverage_ratio=share(day.numbers[name].coverage_ratio * day.hours, hours),
        )
        for name in texts.LABELS
    }


def says_something(day: DayResult) -> bool:
    """Tell whether a day has any number; the first instants of a silent day may have none."""
    return any(day.numbers[name].value is not None for name in texts.LABELS)


def coverage(days: Sequence[DayResult], *, hours: float) -> float:
    """Return the measured share of the hours that have passed."""
    return share(sum(day.hours * day.coverage_ratio for day in days), hours)


def share(measured_h: float, hours: float) -> float:
    """Return measured time as a share; never above 1, and 0 while no time has passed."""
    return min(1.0, measured_h / hours) if hours > 0 else 0.0


def _method(days: Sequence[DayResult], name: str) -> str:
    return f"{SUM_METHOD} of {days[-1].numbers[name].method}" if days else SUM_METHOD
