"""What a change did: a number before an event and after it.

Method `before-after-1`, see ``docs/methods/before-after.md``. The two windows never mix the sides:
they end and begin at the event, with a day left out around it, and reach no further than the
next event.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

COMPARISON_METHOD = "before-after-1"

#: Work goes on for hours, and the instant that a person enters is not exact (our choice).
LEFT_OUT_MS = 86_400_000
#: A window reaches no further, so that season and wear do not pass for the change (our choice).
LONGEST_MS = 92 * 86_400_000


class Verdict(StrEnum):
    """Whether a number changed."""

    CHANGED = "changed"
    NOT_MEASURABLE = "no measurable change"
    NOT_COMPARED = "not compared"


@dataclass(frozen=True, slots=True)
class Side:
    """A number of one window, and what its uncertainty is made of; ``None`` where not known."""

    span: Span
    number: Estimate
    u: Uncertainty | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The number after an event less that before it.

    Attributes
    ----------
    before, after : Side
        What was compared.
    difference : Estimate
        In the unit of the number; above zero where it rose.
    verdict : Verdict
        In words, so that a sentence can be made of it.
    """

    before: Side
    after: Side
    difference: Estimate
    verdict: Verdict


def sides_of(event_ms: int, events_ms: Sequence[int], record: Span) -> tuple[Span, Span]:
    """Return the windows before and after an event; one without length has nothing to offer.

    Parameters
    ----------
    event_ms : int
        When it happened. [ms, UTC epoch]
    events_ms : sequence of int
        All events of the site, in any order; that one may be among them.
    record : Span
        From the first reading to the last.
    """
    before = max([each for each in events_ms if each < event_ms], default=None)
    after = min([each for each in events_ms if each > event_ms], default=None)
    start = record.start_ms if before is None else max(before + LEFT_OUT_MS, record.start_ms)
    end = record.end_ms if after is None else min(after - LEFT_OUT_MS, record.end_ms)
    left, right = event_ms - LEFT_OUT_MS, event_ms + LEFT_OUT_MS
    return (
        Span(max(min(start, left), left - LONGEST_MS), left),
        Span(right, min(max(end, right), right + LONGEST_MS)),
    )


def before_after(event_ms: int, before: Side, after: Side) -> Comparison:
    """Return what a number changed by at an event.

    Parameters
    ----------
    event_ms : int
        When it happened: no window may reach across it. [ms, UTC epoch]
    before, after : Side
        The same number of both windows. Where the parts of an uncertainty are not known, all of
        it is taken to be the window's own: that is never too narrow.

    Notes
    -----
    Own parts add in quadrature; of what both have in common only the difference is left:
    ``u² = own₁² + own₂² + (shared₁ - shared₂)²``. 0.94 and 0.95, each with 0.002 of its own and
    0.003 in common, differ by 0.01 with a standard uncertainty of 0.0028, not 0.0051.
    """
    first, second = _known(before, "before"), _known(after, "after")
    unlike = _unlike(event_ms, before, after)
    if unlike or isinstance(first, str) or isinstance(second, str):
        reasons = [each for each in (unlike, first, second) if isinstance(each, str)]
        difference = refused(reasons[0], method=COMPARISON_METHOD)
        verdict = Verdict.NOT_COMPARED
    else:
        change = second[0] - first[0]
        half = K90 * difference_u(first[1], second[1])
        difference = Estimate(
            value=change,
            low=change - half,
            high=change + half,
            coverage_ratio=min(before.number.coverage_ratio, after.number.coverage_ratio),
            method=COMPARISON_METHOD,
        )
        verdict = Verdict.CHANGED if abs(change) > half else Verdict.NOT_MEASURABLE
    return Comparison(before=before, after=after, difference=difference, verdict=verdict)


def difference_u(first: Uncertainty, second: Uncertainty) -> float:
    """Return the standard uncertainty of the difference of two numbers (JCGM 100:2008 §5.2)."""
    return math.hypot(first.own, second.own, first.shared - second.shared)


def _known(side: Side, word: str) -> tuple[float, Uncertainty] | str:
    """Return a side's number and what it is uncertain by, or why it is not known."""
    number = side.number
    if number.value is None:
        return f"{word} the event there is no number: {number.reason}"
    if side.u is not None:
        return number.value, side.u
    if number.low is None or number.high is None:
        return f"{word} the event the number has no interval"
    return number.value, Uncertainty((number.high - number.low) / (2 * K90), 0.0)


def _unlike(event_ms: int, before: Side, after: Side) -> str | None:
    """Return why two sides may not be compared whatever their numbers are, if so."""
    if before.span.end_ms > event_ms or after.span.start_ms < event_ms:
        return "a window reaches across the event, so before and after would be mixed"
    if before.number.method != after.number.method:
        return (
            f"before is {before.number.method} and after is {after.number.method}: "
            "numbers of two methods are not compared"
        )
    return None
