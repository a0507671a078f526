"""Before and after an event: what is left of errors, and what is said of a difference."""

import math

import numpy as np
import pytest

from joulebook.core.estimate import Estimate, refused
from joulebook.core.losses.comparison import (
    LEFT_OUT_MS,
    LONGEST_MS,
    Side,
    Verdict,
    before_after,
    difference_u,
    sides_of,
)
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

DAY_MS = 86_400_000
EVENT_MS = 100 * DAY_MS
BEFORE, AFTER = Span(10 * DAY_MS, 99 * DAY_MS), Span(101 * DAY_MS, 190 * DAY_MS)


def _number(value: float, half: float = 0.0, method: str = "round-trip-2") -> Estimate:
    return Estimate(
        value=value, low=value - half, high=value + half, coverage_ratio=0.9, method=method
    )


# CV-83: 88 of 100, each within 1 % (one standard deviation): independent errors leave
# 0.88 · √2 · 0.01 = 0.0124451 of the ratio; a difference of two such numbers likewise.
def test_independent_parts_add_as_squares_and_shared_ones_cancel() -> None:
    apart = difference_u(Uncertainty(0.88 * 0.01, 0.0), Uncertainty(0.88 * 0.01, 0.0))
    assert apart == pytest.approx(0.0124451, abs=1e-7)
    assert difference_u(Uncertainty(0.0, 0.01), Uncertainty(0.0, 0.01)) == 0.0
    # A scale 1 % off is 2 Ah of 200 and 1.9 Ah of 190: of the 10 Ah between them 0.1 Ah.
    assert difference_u(Uncertainty(0.0, 2.0), Uncertainty(0.0, 1.9)) == pytest.approx(0.1)


def test_a_change_is_found() -> None:
    sides = [
        Side(span, _number(value), Uncertainty(0.002, 0.003))
        for span, value in ((BEFORE, 0.94), (AFTER, 0.95))
    ]
    result = before_after(EVENT_MS, *sides)
    assert result.verdict is Verdict.CHANGED
    assert result.difference.value == pytest.approx(0.01)
    assert result.difference.low == pytest.approx(0.01 - 1.6449 * 0.002 * math.sqrt(2))
    assert result.difference.high == pytest.approx(0.01 + 1.6449 * 0.002 * math.sqrt(2))
    assert result.difference.coverage_ratio == 0.9
    assert result.difference.method == "before-after-1"


def test_without_parts_an_interval_is_all_its_own() -> None:
    result = before_after(
        EVENT_MS, Side(BEFORE, _number(40.0, 3.0)), Side(AFTER, _number(43.0, 4.0))
    )
    # 90 % half widths add as squares: 3-4-5, and 3 is within 5.
    assert result.difference.low == pytest.approx(3.0 - 5.0)
    assert result.difference.high == pytest.approx(3.0 + 5.0)
    assert result.verdict is Verdict.NOT_MEASURABLE


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (Side(Span(0, EVENT_MS + 1), _number(1)), Side(AFTER, _number(1)), "would be mixed"),
        (Side(BEFORE, _number(1)), Side(Span(EVENT_MS - 1, 2 * EVENT_MS), _number(1)), "mixed"),
        (Side(BEFORE, _number(1, method="a-1")), Side(AFTER, _number(1)), "two methods"),
        (
            Side(BEFORE, refused("too dark", method="round-trip-2")),
            Side(AFTER, _number(1)),
            "before the event there is no number: too dark",
        ),
        (
            Side(BEFORE, _number(1)),
            Side(AFTER, refused("too new", method="round-trip-2")),
            "after the event there is no number: too new",
        ),
    ],
)
def test_not_compared_with_a_reason(before: Side, after: Side, words: str) -> None:
    result = before_after(EVENT_MS, before, after)
    assert result.verdict is Verdict.NOT_COMPARED
    assert result.difference.value is None
    assert words in (result.difference.reason or "")


def test_a_number_without_an_interval_is_not_compared() -> None:
    bare = Estimate(value=1.0, coverage_ratio=1.0, method="round-trip-2")
    result = before_after(EVENT_MS, Side(BEFORE, bare), Side(AFTER, _number(1)))
    assert result.difference.reason == "before the event the number has no interval"


def test_windows_end_at_the_event_and_at_its_neighbours() -> None:
    record = Span(0, 1000 * DAY_MS)
    left, right = sides_of(EVENT_MS, [EVENT_MS, 40 * DAY_MS, 150 * DAY_MS], record)
    assert left == Span(40 * DAY_MS + LEFT_OUT_MS, EVENT_MS - LEFT_OUT_MS)
    assert right == Span(EVENT_MS + LEFT_OUT_MS, 150 * DAY_MS - LEFT_OUT_MS)


def test_windows_reach_no_further_than_a_quarter_and_the_record() -> None:
    left, right = sides_of(EVENT_MS, [], Span(0, 1000 * DAY_MS))
    assert left.end_ms - left.start_ms == LONGEST_MS
    assert right.end_ms - right.start_ms == LONGEST_MS
    left, right = sides_of(EVENT_MS, [], Span(90 * DAY_MS, 120 * DAY_MS))
    assert (left.start_ms, right.end_ms) == (90 * DAY_MS, 120 * DAY_MS)


def test_events_close_together_leave_windows_without_length() -> None:
    left, right = sides_of(EVENT_MS, [EVENT_MS - 1000, EVENT_MS + 1000], Span(0, 200 * DAY_MS))
    assert left.length_s == 0
    assert right.length_s == 0
    assert left.end_ms <= EVENT_MS <= right.start_ms


def test_nothing_changed_is_called_a_change_one_time_in_ten() -> None:
    rng = np.random.default_rng(17)
    called = 0
    for _ in range(2000):
        gain = 1 + rng.normal(0, 0.0058)
        values = (200.0 + rng.normal(0, 1.0, 2)) * gain
        sides = [
            Side(span, _number(value, method="capacity-1"), Uncertainty(1.0, 0.0058 * value))
            for span, value in zip((BEFORE, AFTER), values, strict=True)
        ]
        called += before_after(EVENT_MS, *sides).verdict is Verdict.CHANGED
    assert called / 2000 == pytest.approx(0.10, abs=0.02)
