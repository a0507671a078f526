"""Sums of whole years are those of line by line, whatever the clock and the numbers are."""

from bisect import bisect_right
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import DTypeLike

from joulebook.core.daily import daily_sums as module
from joulebook.core.daily.daily_sums import DailySums, daily_sums
from joulebook.core.daily.energy import integrate
from joulebook.core.spans import Span
from joulebook.core.stepped import Clock, Instants, Stepped

DAY_MS = 86_400_000
#: 2026-03-02T00:00:00Z. [ms, UTC epoch]
START_MS = 1_772_409_600_000
GAP_MS = 50_000
#: Steps of 1 s to a bit over the longest gap, most often ten, now and then days.
STEPS = st.lists(
    st.just(10_000) | st.just(10_000) | st.integers(1_000, 60_000) | st.just(200_000_000),
    min_size=1,
    max_size=60,
)


def line_by_line(at_ms: Instants, values: list[float], edges: list[int]) -> list[list[float]]:
    """Add up each line by itself: above and below zero [value-hours] and its length [ms]."""
    days: list[list[float]] = [[0.0, 0.0, 0.0] for _ in edges[1:]]
    for (begin, a), (end, b) in pairwise(zip(at_ms.tolist(), values, strict=True)):
        day = bisect_right(edges, begin) - 1
        if end - begin > GAP_MS or not 0 <= day < len(days):
            continue
        hours = (end - begin) / 3_600_000
        if a * b < 0:  # cut where it crosses: two triangles
            up, down = max(a, b), -min(a, b)
            share = up / (up + down)
            above, below = up * share * hours / 2, down * (1 - share) * hours / 2
        else:
            above, below = max(a + b, 0) * hours / 2, max(-a - b, 0) * hours / 2
        for place, more in enumerate((above, below, end - begin)):
            days[day][place] += more
    return days


def assert_sums(found: DailySums, days: list[list[float]]) -> None:
    above, below, covered_ms = np.array(days).T
    np.testing.assert_allclose(found.above, above, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(found.below, below, rtol=1e-12, atol=1e-9)
    np.testing.assert_array_equal(found.covered_ms, covered_ms)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    steps=STEPS,
    seed=st.integers(0, 1000),
    cuts=st.lists(st.integers(1, 60), max_size=5),
    dtype=st.sampled_from([np.int16, np.int32, np.int64, np.float64]),
    rest=st.booleans(),
    late_ms=st.sampled_from([-DAY_MS, 0, 7, DAY_MS // 3, 5 * DAY_MS]),
)
def test_sums_are_those_of_line_by_line(
    steps: list[int], seed: int, cuts: list[int], dtype: DTypeLike, rest: bool, late_ms: int
) -> None:
    at_ms = START_MS + np.cumsum(steps)
    whole = np.random.default_rng(seed).normal(0, 500, at_ms.size).astype(dtype)
    if rest:
        whole[::2] = 0  # a battery at rest crosses nothing
    step, divisor = (5.0, 10.0) if whole.dtype.kind == "i" else (1.0, 1.0)
    edges = [0, *sorted({cut for cut in cuts if cut < at_ms.size}), at_ms.size]
    parts = [
        Stepped(Clock.of(at_ms[first:last]), whole[first:last], step, divisor)
        for first, last in pairwise(edges)
    ]
    # Days that end before the readings do, or begin after they did: the rest is left out.
    edges_ms = START_MS + late_ms + DAY_MS * np.arange(6)
    values = (whole * step / divisor).tolist()
    found = daily_sums(parts, edges_ms, max_gap_ms=GAP_MS)
    assert_sums(found, line_by_line(at_ms, values, edges_ms.tolist()))


def test_a_line_through_zero_is_cut_there() -> None:
    # By hand, as docs/methods/trapezoid.md has it: 1000 W falling to -500 W in 1.5 h.
    at_ms = START_MS + np.array([0, 5_400_000])
    part = Stepped.of(at_ms, np.array([1000.0, -500.0]))
    found = daily_sums([part], np.array([START_MS, START_MS + DAY_MS]), max_gap_ms=5_400_000)
    assert (found.above.tolist(), found.below.tolist()) == ([500.0], [125.0])
    assert found.covered_ms.tolist() == [5_400_000]


def test_a_day_by_itself_is_what_the_method_of_days_says() -> None:
    # Another way through our own code, for a whole day with lost rows and a regular clock.
    random = np.random.default_rng(4)
    at_ms = (START_MS + 10_000 * np.arange(8641))[random.random(8641) > 0.01]
    whole = random.normal(0, 2000, at_ms.size).astype(np.int16)
    span = Span(int(at_ms[0]), int(at_ms[-1]))
    alone = integrate(at_ms, whole.astype(np.float64), span=span, max_gap_s=GAP_MS / 1000)
    found = daily_sums(
        [Stepped(Clock.of(at_ms), whole)],
        np.array([START_MS, START_MS + DAY_MS + 1]),
        max_gap_ms=GAP_MS,
    )
    assert found.above.tolist() == pytest.approx([alone.positive], rel=1e-12)
    assert found.below.tolist() == pytest.approx([alone.negative], rel=1e-12)
    assert found.covered_ms.tolist() == pytest.approx([alone.covered_s * 1000])


@pytest.mark.parametrize("height", [32_767, -32_768])
def test_the_widest_readings_pass_no_end_of_their_numbers(height: int) -> None:
    rows = 200_000  # a reading every 0.4 s: more than 32 bits hold the sum of
    at_ms = START_MS + 400 * np.arange(rows)
    part = Stepped(Clock.of(at_ms), np.full(rows, height, dtype=np.int16))
    found = daily_sums([part], np.array([START_MS, START_MS + DAY_MS]), max_gap_ms=GAP_MS)
    expected = abs(height) * 400 * (rows - 1) / 3_600_000
    np.testing.assert_allclose(found.above + found.below, [expected], rtol=1e-12)


def test_a_slower_clock_than_lines_may_bridge_adds_up_to_nothing() -> None:
    at_ms = START_MS + 60_000 * np.arange(100)
    part = Stepped(Clock.of(at_ms), np.full(100, 700, dtype=np.int16))
    found = daily_sums([part], np.array([START_MS, START_MS + DAY_MS]), max_gap_ms=GAP_MS)
    assert (found.above.tolist(), found.covered_ms.tolist()) == ([0.0], [0])


def test_no_readings_are_no_sums() -> None:
    found = daily_sums([], START_MS + DAY_MS * np.arange(4), max_gap_ms=GAP_MS)
    assert found.above.tolist() == found.below.tolist() == found.covered_ms.tolist() == [0, 0, 0]


def test_weeks_are_joined_and_the_longest_part_is_left_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "_ROWS_AT_ONCE", 100)
    at_ms = START_MS + 10_000 * np.arange(400)
    whole = np.random.default_rng(5).integers(-900, 900, 400, dtype=np.int16)
    edges = [0, 30, 60, 90, 120, 300, 330, 400]
    parts = [
        Stepped(Clock.of(at_ms[first:last]), whole[first:last]) for first, last in pairwise(edges)
    ]
    edges_ms = np.array([START_MS, START_MS + DAY_MS])
    found = daily_sums(parts, edges_ms, max_gap_ms=GAP_MS)
    assert_sums(found, line_by_line(at_ms, whole.astype(float).tolist(), edges_ms.tolist()))
