"""Episodes open once and close once, by hand and by any run of values."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.alerts.episodes import Limits, Watch, step

HOT = Limits(opens_at=45.0, closes_at=42.0, after_s=600, until_s=1800)
LOW = Limits(opens_at=5.0, closes_at=10.0)


def run(limits: Limits, *values: tuple[float, float | None]) -> list[tuple[float, str]]:
    """Return when what happened; instants in minutes."""
    watch, told = Watch(), list[tuple[float, str]]()
    for minute, value in values:
        watch, change = step(limits, watch, value, round(minute * 60_000))
        if change:
            told.append((minute, change))
    return told


def test_it_opens_after_its_time_and_closes_after_its_own() -> None:
    # Bad from minute 0; ten minutes later it opens. Good from minute 30; half an hour, it closes.
    assert run(HOT, (0, 46.0), (5, 47.0), (10, 46.0), (30, 41.0), (59, 40.0), (60, 40.0)) == [
        *((10, "opened"), (60, "closed")),
    ]


def test_between_the_limits_nothing_changes_and_waiting_begins_anew() -> None:
    assert run(HOT, (0, 46.0), (8, 44.0), (11, 46.0), (20, 46.0), (21, 46.0)) == [(21, "opened")]
    assert run(HOT, (0, 46.0), (10, 46.0), (20, 41.0), (40, 43.0), (60, 41.0), (80, 41.0)) == [
        (10, "opened"),
    ]


def test_limits_may_lie_the_other_way_around() -> None:
    assert run(LOW, (0, 6.0), (1, 5.0), (2, 7.0), (3, 10.0)) == [(1, "opened"), (3, "closed")]


def test_what_is_missing_neither_opens_nor_closes_and_the_time_before_it_counts() -> None:
    assert run(HOT, (0, 46.0), (5, None), (10, math.nan), (12, 46.0)) == [(12, "opened")]
    assert run(HOT, (0, 46.0), (10, 46.0), (11, None), (500, None)) == [(10, "opened")]


def test_a_clock_that_goes_back_opens_nothing_early() -> None:
    assert run(HOT, (100, 46.0), (50, 46.0), (59, 46.0)) == []
    assert run(HOT, (100, 46.0), (50, 46.0), (60, 46.0)) == [(60, "opened")]


def test_moved_limits_keep_their_distance() -> None:
    assert HOT.moved_to(50.0) == Limits(opens_at=50.0, closes_at=47.0, after_s=600, until_s=1800)
    assert LOW.moved_to(2.0).closes_at == 7.0


def test_two_limits_that_are_one_tell_nothing() -> None:
    with pytest.raises(ValueError, match="opens at one limit"):
        Limits(opens_at=1.0, closes_at=1.0)


VALUES = st.lists(
    st.tuples(st.floats(0, 60), st.one_of(st.none(), st.floats(30, 60), st.just(math.nan))),
    max_size=60,
)


@settings(derandomize=True, deadline=None)
@given(steps=VALUES)
def test_openings_and_closings_alternate_and_each_has_a_value_that_says_so(
    steps: list[tuple[float, float | None]],
) -> None:
    minute, watch, changes = 0.0, Watch(), []
    for wait, value in steps:
        minute += wait
        before = watch
        watch, change = step(HOT, watch, value, round(minute * 60_000))
        if change:
            assert value is not None
            assert HOT.is_bad(value) if change == "opened" else HOT.is_good(value)
            changes.append(change)
        elif value is None or math.isnan(value):
            assert watch == before
    assert changes == (["opened", "closed"] * len(changes))[: len(changes)]
    assert watch.is_open == (len(changes) % 2 == 1)
