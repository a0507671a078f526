"""Clocks and steps hold what the arrays hold that they stand for."""

from itertools import accumulate

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.stepped import Clock, Stepped, in_one

START_MS = 1_772_409_600_000
STEPS = st.lists(
    st.sampled_from([10_000, 10_000, 10_000, 20_000]) | st.integers(1, 10**8), max_size=40
)


def instants(steps: list[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array(list(accumulate(steps, initial=START_MS)), dtype=np.int64)


def test_a_clock_with_two_lost_rows_is_four_numbers_and_two_breaks() -> None:
    clock = Clock.of(START_MS + 10_000 * np.array([0, 1, 3, 4, 5, 7]))
    assert (clock.first_ms, clock.step_ms, clock.rows) == (START_MS, 10_000, 6)
    assert clock.breaks.tolist() == [2, 5]
    assert clock.jumps_ms.tolist() == [10_000, 10_000]
    assert clock.last_ms == START_MS + 70_000


@settings(derandomize=True, deadline=None)
@given(steps=STEPS)
def test_a_clock_gives_its_instants_back(steps: list[int]) -> None:
    at_ms = instants(steps)
    clock = Clock.of(at_ms)
    np.testing.assert_array_equal(clock.at_ms(), at_ms, strict=True)
    assert clock.last_ms == at_ms[-1]


@settings(derandomize=True, deadline=None)
@given(
    steps=STEPS, asked=st.lists(st.integers(-20_000, 2 * 10**8), max_size=10), seed=st.integers()
)
def test_a_clock_finds_rows_as_a_search_through_all_does(
    steps: list[int], asked: list[int], seed: int
) -> None:
    at_ms = instants(steps)
    # Anywhere, and just before, at and just after readings, where being off by one would show.
    near = np.random.default_rng(abs(seed)).choice(at_ms, 5)
    sought = np.concatenate(([START_MS + ms for ms in asked], near - 1, near, near + 1)).astype(
        np.int64
    )
    np.testing.assert_array_equal(Clock.of(at_ms).rows_before(sought), at_ms.searchsorted(sought))


def test_parts_join_where_all_their_steps_are_the_same() -> None:
    at_ms = START_MS + 10_000 * np.arange(4)
    whole = np.arange(4, dtype=np.int16)
    part = Stepped(Clock.of(at_ms), whole, 1.0, 10.0)
    assert part.joins(part)
    others = (
        Stepped(Clock.of(at_ms * 2), whole, 1.0, 10.0),
        Stepped(Clock.of(at_ms), whole, 5.0, 10.0),
        Stepped(Clock.of(at_ms), whole, 1.0, 100.0),
        Stepped(Clock.of(at_ms), whole.astype(np.int32), 1.0, 10.0),
    )
    assert not any(part.joins(other) for other in others)


def test_parts_in_one_are_their_rows_one_behind_the_other() -> None:
    at_ms = START_MS + 10_000 * np.array([0, 1, 2, 3, 5, 6, 100, 101, 102, 104, 105])
    whole = np.arange(11, dtype=np.int16)
    parts = [
        Stepped(Clock.of(at_ms[first:last]), whole[first:last], 1.0, 10.0)
        for first, last in ((0, 5), (5, 8), (8, 11))
    ]
    joined = in_one(parts, lambda _use, dtype, size: np.empty(size, dtype))
    np.testing.assert_array_equal(joined.clock.at_ms(), at_ms)
    np.testing.assert_array_equal(joined.whole, whole, strict=True)
    assert (joined.step, joined.divisor) == (1.0, 10.0)
