"""Means over minutes against a loop over readings, and readings moved to another axis."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import joulebook.core.minutes as minutes
from joulebook.core.history import Floats, Instants
from joulebook.core.minutes import MinuteMeans, minute_means, resampled

Rows = tuple[Instants, dict[str, Floats]]


def _at(*seconds: float) -> Instants:
    return np.array([round(each * 1000) for each in seconds], dtype=np.int64)


# By hand: (10 W · 20 s + 40 W · 40 s) / 60 s = 30 W.
def test_a_minute_by_hand() -> None:
    at_ms, columns = minute_means(
        _at(0, 20, 60, 120), {"power": np.array([10.0, 40.0, 7.0, 8.0])}, max_gap_s=60
    )
    assert at_ms.tolist() == [0, 60_000]
    assert columns["power"].tolist() == [30.0, 7.0]


def test_a_reading_that_crosses_the_edge_counts_on_both_sides() -> None:
    at_ms, columns = minute_means(
        _at(30, 90, 120), {"power": np.array([10.0, 40.0, 0.0])}, max_gap_s=60
    )
    # The first minute is covered by half, which is enough.
    assert at_ms.tolist() == [0, 60_000]
    assert columns["power"].tolist() == [10.0, 25.0]


def test_a_minute_less_than_half_covered_is_missing() -> None:
    at_ms, columns = minute_means(
        _at(0, 30, 60, 60 + 29, 600, 660),
        {"power": np.array([1.0, 3.0, 5.0, 7.0, 9.0, 0.0])},
        max_gap_s=60,
    )
    # From 60 s on 29 s are covered; nothing is held over the silence from 89 s to 600 s.
    assert at_ms.tolist() == [0, 600_000]
    assert columns["power"].tolist() == [2.0, 9.0]


def test_each_quantity_has_its_own_holes() -> None:
    nan = math.nan
    at_ms, columns = minute_means(
        _at(0, 30, 60, 90, 120),
        {
            "voltage": np.array([50.0, nan, 52.0, nan, 0.0]),
            "current": np.array([nan, nan, 4.0, 6.0, 0.0]),
            "nothing": np.full(5, nan),
        },
        max_gap_s=60,
    )
    # A voltage holds over the one that is missing; the current begins with the second minute.
    assert at_ms.tolist() == [0, 60_000]
    assert columns["voltage"].tolist() == [50.0, 52.0]
    assert columns["current"].tolist() == pytest.approx([nan, 5.0], nan_ok=True)
    assert np.isnan(columns["nothing"]).all()


def test_nothing_and_too_little() -> None:
    none = np.empty(0, dtype=np.int64)
    for at_ms in (none, _at(5)):
        got, columns = minute_means(at_ms, {"power": np.ones(at_ms.size)}, max_gap_s=60)
        assert got.size == 0
        assert columns["power"].size == 0


def test_what_is_wrong_with_the_rows_is_said() -> None:
    with pytest.raises(ValueError, match="2 instants, but 1 of power"):
        minute_means(_at(0, 1), {"power": np.ones(1)}, max_gap_s=60)
    with pytest.raises(ValueError, match="do not strictly increase"):
        minute_means(_at(0, 1, 1), {"power": np.ones(3)}, max_gap_s=60)
    means = MinuteMeans(["power"], max_gap_s=60)
    means.feed(_at(0, 10), {"power": np.ones(2)})
    with pytest.raises(ValueError, match="do not strictly increase"):
        means.feed(_at(10, 20), {"power": np.ones(2)})


@st.composite
def _rows(draw: st.DrawFn) -> Rows:
    """Readings from 0.5 s to 3 min apart, some missing, some silence."""
    steps = draw(st.lists(st.integers(500, 180_000), min_size=2, max_size=40))
    at_ms = np.cumsum(np.array(steps, dtype=np.int64)) + draw(st.integers(-(10**6), 10**6))
    value = st.one_of(st.just(math.nan), st.floats(-5000, 5000))
    columns = {
        name: np.array(draw(st.lists(value, min_size=at_ms.size, max_size=at_ms.size)))
        for name in ("power", "voltage")
    }
    return at_ms, columns


def _by_loop(at_ms: Instants, values: Floats, minute: int, max_gap_ms: int) -> float:
    """Return the mean of one minute, reading by reading."""
    there = [(int(at), float(v)) for at, v in zip(at_ms, values, strict=True) if not math.isnan(v)]
    total = covered = 0.0
    for (at, value), (until, _) in itertools.pairwise(there):
        if until - at <= max_gap_ms:
            inside = max(min(until, minute + 60_000) - max(at, minute), 0)
            total += value * inside
            covered += inside
    return total / covered if covered >= 30_000 else math.nan


@settings(derandomize=True, deadline=None)
@given(_rows(), st.sampled_from([5, 30, 60, 100]))
def test_means_are_those_of_a_loop(rows: Rows, max_gap_s: int) -> None:
    at_ms, columns = rows
    got_ms, got = minute_means(at_ms, columns, max_gap_s=max_gap_s)
    place = {int(at): row for row, at in enumerate(got_ms)}
    for minute in range(int(at_ms[0]) // 60_000 * 60_000, int(at_ms[-1]), 60_000):
        expected = [_by_loop(at_ms, each, minute, max_gap_s * 1000) for each in columns.values()]
        if all(math.isnan(each) for each in expected):
            assert minute not in place
        else:
            mean = [each[place[minute]] for each in got.values()]
            assert mean == pytest.approx(expected, nan_ok=True, abs=1e-6)
            place.pop(minute)
    assert place == {}


@settings(derandomize=True, deadline=None)
@given(_rows(), st.lists(st.integers(0, 40), max_size=4), st.sampled_from([5, 60, 150]))
def test_parts_make_the_same_minutes_as_the_whole(
    rows: Rows, cuts: list[int], max_gap_s: int
) -> None:
    at_ms, columns = rows
    means = MinuteMeans(list(columns), max_gap_s=max_gap_s)
    told = []
    edges = [0, *sorted(cuts), at_ms.size]
    for first, last in itertools.pairwise(edges):
        part = {name: each[first:last] for name, each in columns.items()}
        told.append(means.feed(at_ms[first:last], part))
    told.append(means.finish())
    whole_ms, whole = minute_means(at_ms, columns, max_gap_s=max_gap_s)
    assert np.concatenate([at for at, _ in told]).tolist() == whole_ms.tolist()
    for name, expected in whole.items():
        parts = np.concatenate([part[name] for _, part in told])
        assert parts == pytest.approx(expected, nan_ok=True, abs=1e-6)


def test_a_long_record_goes_through_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    at_ms = np.arange(2000, dtype=np.int64) * 10_000
    power = np.sin(at_ms / 1e6)
    monkeypatch.setattr(minutes, "_ROWS_AT_ONCE", 100)
    got_ms, got = minute_means(at_ms, {"power": power}, max_gap_s=60)
    assert got_ms.tolist() == list(range(0, 333 * 60_000, 60_000))
    assert got["power"] == pytest.approx(power[:1998].reshape(-1, 6).mean(axis=1))


def test_a_line_between_neighbours_and_nothing_across_a_silence() -> None:
    at_ms, values = _at(10, 20, 30, 300), np.array([1.0, math.nan, 3.0, 9.0])
    onto = _at(5, 10, 15, 25, 30, 100, 300, 301)
    got = resampled(onto, at_ms, values, max_gap_s=60)
    nan = math.nan
    assert got.tolist() == pytest.approx([nan, 1.0, 1.5, 2.5, 3.0, nan, 9.0, nan], nan_ok=True)


def test_the_same_axis_gives_the_same_values() -> None:
    at_ms, values = _at(1, 2, 3), np.array([1.0, 2.0, 3.0])
    got = resampled(at_ms, at_ms, values, max_gap_s=0.1)
    assert got.tolist() == [1.0, 2.0, 3.0]
    assert got is not values


def test_readings_that_are_all_missing_say_nothing() -> None:
    got = resampled(_at(1, 2), _at(1, 2), np.full(2, math.nan), max_gap_s=60)
    assert np.isnan(got).all()


@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(1, 50), min_size=2, max_size=30), st.integers(1, 60))
def test_resampled_is_the_straight_line_wherever_it_answers(steps: list[int], gap_s: int) -> None:
    at_ms = np.cumsum(np.array(steps, dtype=np.int64)) * 1000
    values = np.cos(np.arange(at_ms.size))
    onto = np.arange(-2000, int(at_ms[-1]) + 3000, 700, dtype=np.int64)
    got = resampled(onto, at_ms, values, max_gap_s=gap_s)
    answered = ~np.isnan(got)
    assert got[answered] == pytest.approx(np.interp(onto, at_ms, values)[answered])
    for instant, answer in zip(onto, answered, strict=True):
        before, after = at_ms[at_ms <= instant], at_ms[at_ms >= instant]
        near = before.size and after.size and after[0] - before[-1] <= gap_s * 1000
        assert bool(near) == bool(answer)
