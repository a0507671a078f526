"""Spans of time and local days. The only module here that knows of time zones."""

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

_DAY_MS = 86_400_000
_EPOCH = date(1970, 1, 1)


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


@dataclass(frozen=True, slots=True)
class MidnightRun:
    """From a date on, local midnight is so much ahead of midnight in UTC. [s]"""

    first: date
    ahead_s: int


def midnight_runs(first: date, last: date, zone: ZoneInfo) -> tuple[MidnightRun, ...]:
    """Return where local midnights are, from one date to another: all that days depend on."""
    runs: list[MidnightRun] = []
    for day in dates(first, last):
        ahead_s = ((day - _EPOCH).days * _DAY_MS - _midnight_ms(day, zone)) // 1000
        if not runs or runs[-1].ahead_s != ahead_s:
            runs.append(MidnightRun(day, ahead_s))
    return tuple(runs)


def even_pieces(day: date, zone: ZoneInfo) -> list[tuple[int, Span]]:
    """Return a local day in pieces through which the clocks run evenly, in order.

    Each comes with what the clocks show at its start, counted from midnight. [ms] An hour that the
    clocks show twice is there once, as the first of the two; one that they skip is not there.
    """
    whole = local_day(day, zone)
    midnight_ms = (day - _EPOCH).days * _DAY_MS
    first, last = (_offset_ms(at_ms, zone) for at_ms in (whole.start_ms, whole.end_ms - 1))
    edges = [whole.start_ms, whole.end_ms]
    if first != last:
        # The first instant at which the clocks are no longer what they were.
        change = bisect_left(range(*edges), 1, key=lambda at_ms: _offset_ms(at_ms, zone) != first)
        edges.insert(1, whole.start_ms + change)
    pieces: list[tuple[int, Span]] = []
    shown_ms = 0
    for start_ms, end_ms in pairwise(edges):
        clock_ms = start_ms + _offset_ms(start_ms, zone) - midnight_ms
        again_ms = max(0, shown_ms - clock_ms)
        if start_ms + again_ms < end_ms:
            pieces.append((clock_ms + again_ms, Span(start_ms + again_ms, end_ms)))
            shown_ms = clock_ms + end_ms - start_ms
    return pieces


def same_clock(day: date, other: date, zone: ZoneInfo) -> list[tuple[Span, Span]]:
    """Return the times of two local days at which the clocks show the same, as equal spans."""
    shared = []
    for clock_ms, piece in even_pieces(day, zone):
        for other_ms, beside in even_pieces(other, zone):
            later = max(clock_ms, other_ms)
            length = (
                min(
                    clock_ms + piece.end_ms - piece.start_ms,
                    other_ms + beside.end_ms - beside.start_ms,
                )
                - later
            )
            if length > 0:
                start_ms = piece.start_ms + later - clock_ms
                other_start_ms = beside.start_ms + later - other_ms
                shared.append(
                    (
                        Span(start_ms, start_ms + length),
                        Span(other_start_ms, other_start_ms + length),
                    )
                )
    return shared


def _offset_ms(at_ms: int, zone: ZoneInfo) -> int:
    """Return by how much the zone's clocks are ahead of UTC. [ms]"""
    ahead = datetime.fromtimestamp(at_ms / 1000, tz=zone).utcoffset()
    assert ahead is not None  # a ZoneInfo always knows
    return round(ahead.total_seconds() * 1000)


def local_clock(
    at_ms: NDArray[np.int64], zone: ZoneInfo
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the local date and time of day of instants, as a clock on the wall shows them.

    An hour that comes twice has the same times of day twice; one that is skipped has none.

    Parameters
    ----------
    at_ms : int64 array, shape (n,)
        [ms, UTC epoch]

    Returns
    -------
    day, minute : int64 arrays, shape (n,)
        Days since 1970-01-01, and whole minutes since midnight by the clock.
    """
    days, place = np.unique(at_ms // _DAY_MS, return_inverse=True)
    first = np.array([_offset_ms(int(day) * _DAY_MS, zone) for day in days], dtype=np.int64)
    last = np.array([_offset_ms(int(day + 1) * _DAY_MS - 1, zone) for day in days], dtype=np.int64)
    offset = first[place]
    # Only on the few days of UTC on which clocks change is every instant asked for its own.
    for row in np.flatnonzero((first != last)[place]):
        offset[row] = _offset_ms(int(at_ms[row]), zone)
    local_ms = at_ms + offset
    day = local_ms // _DAY_MS
    return day, (local_ms - day * _DAY_MS) // 60_000


def clock_ms(day: date, minute: int, zone: ZoneInfo) -> int:
    """Return when a clock on the wall shows a minute of a local day. [ms, UTC epoch]

    Of a time that comes twice the first; of one that the clocks skip, as long after the change.
    """
    # fold=0 reads with the old offset: where clocks skip midnight, 00:00 is the very instant of
    # the change.
    shown = datetime.combine(day, time(minute // 60, minute % 60), tzinfo=zone)
    return round(shown.astimezone(UTC).timestamp() * 1000)


def _midnight_ms(day: date, zone: ZoneInfo) -> int:
    return clock_ms(day, 0, zone)
