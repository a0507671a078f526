"""Quarter hours against hand calculations, a slow loop, and the integral of the energy method."""

import math
from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from joulebook.core.daily.energy import integrate
from joulebook.core.daily.quarters import QUARTER_MS, Gathering, Quarters, quarter_hours
from joulebook.core.spans import Span
from tests.helpers.curve_readings import Readings, readings, seconds

TWO_HOURS = seconds(0, 7200)
Row = tuple[int, float, float, float, float, float]


def quarters_of(at_ms: NDArray[np.int64], value: NDArray[np.float64], span: Span) -> Quarters:
    return quarter_hours(at_ms, {"power": value}, span=span, max_gap_s=600)["power"]


# CV-62: own arithmetic; -5250 W·s over 120 s, where the mean of the readings is +100 W.
def test_uneven_readings_are_weighted_by_their_time() -> None:
    at_ms, value = readings([0, 10, 15, 45, 60, 120], [0.0, 600.0, 600.0, 0.0, -300.0, -300.0])
    quarters = quarter_hours(at_ms, {"power": value}, span=seconds(0, 900), max_gap_s=60)["power"]
    assert quarters.mean.tolist() == [-43.75]
    assert (quarters.low[0], quarters.high[0], quarters.last[0]) == (-300.0, 600.0, -300.0)
    assert (quarters.count[0], quarters.covered_ms[0]) == (6, 120_000)


# CV-60: a ramp from 0 to 1000 W over an hour has the mean 500 W; its quarters have 125, 375, ...
def test_a_ramp() -> None:
    at_ms, value = readings(range(0, 3601, 60), [each / 3.6 for each in range(0, 3601, 60)])
    quarters = quarters_of(at_ms, value, seconds(0, 3600))
    assert_allclose(quarters.mean, [125.0, 375.0, 625.0, 875.0], rtol=1e-14)
    assert_allclose(quarters.mean.mean(), 500.0, rtol=1e-14)
    assert quarters.covered_ms.tolist() == [QUARTER_MS] * 4
    assert quarters.count.tolist() == [15] * 4
    assert_array_equal(quarters.start_ms, [0, 900_000, 1_800_000, 2_700_000])


def test_a_line_across_the_quarter_counts_on_both_sides() -> None:
    # By hand: 0 W at 840 s rises to 600 W at 1140 s, through 120 W at 900 s. Before: 60 s with
    # a mean of 60 W. After: 240 s with a mean of 360 W.
    quarters = quarters_of(*readings([840, 1140], [0.0, 600.0]), seconds(0, 1800))
    assert quarters.mean.tolist() == [60.0, 360.0]
    assert quarters.covered_ms.tolist() == [60_000, 240_000]
    assert quarters.last.tolist() == [0.0, 600.0]


def test_a_reading_at_the_end_belongs_to_the_next_quarter() -> None:
    quarters = quarters_of(*readings([600, 900, 1200], [1.0, 2.0, 3.0]), seconds(0, 1800))
    assert quarters.count.tolist() == [1, 2]
    assert quarters.last.tolist() == [1.0, 3.0]
    assert quarters.mean.tolist() == [1.5, 2.5]
    assert quarters.covered_ms.tolist() == [300_000, 300_000]


def test_readings_outside_of_the_span_only_lead_their_lines_in_and_out() -> None:
    # By hand: 100 W from 300 s before to 300 s after the quarter hour.
    at_ms, value = readings([-300, 300, 600, 1200], [100.0] * 4)
    quarters = quarters_of(at_ms, value, seconds(0, 900))
    assert quarters.count.tolist() == [2]
    assert quarters.covered_ms.tolist() == [QUARTER_MS]
    assert quarters.mean.tolist() == [100.0]


def test_what_is_not_measured_is_nan_and_not_zero() -> None:
    quarters = quarters_of(*readings([100, 2000, 2010], [5.0, 1.0, 1.0]), seconds(0, 3600))
    assert_array_equal(quarters.low, [5.0, np.nan, 1.0, np.nan])
    # A reading far from all others has no time: no mean, but it was there.
    assert_array_equal(quarters.mean, [np.nan, np.nan, 1.0, np.nan])
    assert quarters.count.tolist() == [1, 0, 2, 0]
    assert quarters.covered_ms.tolist() == [0, 0, 10_000, 0]


def test_nothing_at_all() -> None:
    quarters = quarters_of(*readings([], []), TWO_HOURS)
    assert np.isnan(quarters.mean).all()
    assert quarters.count.tolist() == [0] * 8


def test_missing_and_infinite_readings_are_longer_steps() -> None:
    at_ms, whole = readings([0, 60, 120, 180], [1.0, 1.0, 1.0, 1.0])
    gone = np.array([1.0, np.nan, 1.0, np.inf])
    found = quarter_hours(at_ms, {"gone": gone, "whole": whole}, span=seconds(0, 900))
    assert list(found) == ["gone", "whole"]
    assert (found["gone"].count[0], found["gone"].covered_ms[0]) == (2, 120_000)
    assert (found["whole"].count[0], found["whole"].covered_ms[0]) == (4, 180_000)
    assert found["gone"].high[0] == 1.0


def test_the_longest_gap_is_that_of_the_readings_themselves() -> None:
    # Every 10 s, so 50 s at most; and a hole of 60 s.
    at_s = [*range(0, 400, 10), *range(450, 850, 10)]
    found = quarter_hours(
        readings(at_s, [1.0] * 80)[0], {"power": np.ones(80)}, span=seconds(0, 900)
    )
    assert found["power"].covered_ms.tolist() == [390_000 + 390_000]


@pytest.mark.parametrize(
    ("span", "max_gap_s", "values", "told"),
    [
        (seconds(1, 900), 60, 2, "quarter hours"),
        (seconds(0, 899), 60, 2, "quarter hours"),
        (seconds(0, 900), 901, 2, "a quarter hour at most"),
        (seconds(0, 900), 60, 3, "2 instants, but 3 of power"),
    ],
)
def test_what_makes_no_sense_is_refused(
    span: Span, max_gap_s: float, values: int, told: str
) -> None:
    at_ms, _ = readings([0, 1], [0.0, 0.0])
    with pytest.raises(ValueError, match=told):
        quarter_hours(at_ms, {"power": np.zeros(values)}, span=span, max_gap_s=max_gap_s)


def slowly(at_ms: list[int], value: list[float], start_ms: int, gap_ms: int) -> Row:
    """Compute one quarter hour reading by reading and line by line."""
    end_ms = start_ms + QUARTER_MS
    there = [(at, each) for at, each in zip(at_ms, value, strict=True) if not math.isnan(each)]
    inside = [each for at, each in there if start_ms <= at < end_ms]
    area, covered = [], 0
    for (t0, v0), (t1, v1) in pairwise(there):
        begin, end = max(t0, start_ms), min(t1, end_ms)
        if begin < end and t1 - t0 <= gap_ms:
            slope = (v1 - v0) / (t1 - t0)
            middle = (begin + end) / 2 - t0
            area.append((v0 + slope * middle) * (end - begin))
            covered += end - begin
    nan = math.nan
    return (
        len(inside),
        min(inside, default=nan),
        math.fsum(area) / covered if covered else nan,
        max(inside, default=nan),
        inside[-1] if inside else nan,
        covered,
    )


@st.composite
def histories(draw: st.DrawFn) -> Readings:
    """Readings a minute or some apart, on quarters and off them, some of them missing."""
    steps = draw(st.lists(st.sampled_from([1, 1000, 59_999, 300_000, 450_000, 900_000, 1_234_567])))
    at_ms = np.cumsum(np.array([draw(st.integers(-900, 900)) * 1000, *steps], dtype=np.int64))
    numbers = st.one_of(st.floats(-9000, 9000, width=32), st.just(math.nan))
    size = len(at_ms)
    return at_ms, np.array(draw(st.lists(numbers, min_size=size, max_size=size)), dtype=np.float64)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(histories(), st.sampled_from([60, 300, 600, 900]))
def test_it_is_what_a_slow_loop_gives(history: Readings, max_gap_s: int) -> None:
    at_ms, value = history
    span = seconds(-900, 8100)
    second = np.where(value > 0, value, np.nan)
    found = quarter_hours(at_ms, {"a": value, "b": second}, span=span, max_gap_s=max_gap_s)
    for name, series in (("a", value), ("b", second)):
        quarters = found[name]
        expected = [
            slowly(at_ms.tolist(), series.tolist(), start_ms, max_gap_s * 1000)
            for start_ms in range(span.start_ms, span.end_ms, QUARTER_MS)
        ]
        count, low, mean, high, last, covered = map(np.array, zip(*expected, strict=True))
        assert_array_equal(quarters.count, count)
        assert_array_equal(quarters.low, low)
        assert_array_equal(quarters.high, high)
        assert_array_equal(quarters.last, last)
        assert_array_equal(quarters.covered_ms, covered)
        assert_allclose(quarters.mean, mean, rtol=1e-9, atol=1e-9)


@settings(derandomize=True, deadline=None)
@given(histories())
def test_mean_times_time_is_the_energy(history: Readings) -> None:
    span = seconds(0, 7200)
    quarters = quarters_of(*history, span)
    energy = integrate(*history, span=span, max_gap_s=600)
    held = quarters.covered_ms > 0
    total = float(np.sum(quarters.mean[held] * quarters.covered_ms[held])) / 3_600_000
    assert total == pytest.approx(energy.net or 0.0, abs=1e-6)
    assert int(quarters.covered_ms.sum()) == round(energy.covered_s * 1000)


def part(quarters: Quarters, first: int, last: int) -> Quarters:
    return Quarters(
        **{field.name: getattr(quarters, field.name)[first:last] for field in fields(Quarters)}
    )


def test_longer_steps_by_hand() -> None:
    # Four quarters of power: 15 min at 100 W, 5 min at 400 W, nothing, 15 min at 300 W.
    at_s = [*range(0, 901, 60), *range(960, 1201, 60), *range(2700, 3600, 60)]
    value = [100.0] * 15 + [400.0] * 6 + [300.0] * 15
    quarters = quarters_of(*readings(at_s, value), seconds(0, 3600))
    hours = Gathering(seconds(0, 3600), 3_600_000)
    hours.add(part(quarters, 0, 1))
    hours.add(part(quarters, 1, 4))
    hour = hours.result()
    covered = quarters.covered_ms
    assert covered.tolist() == [900_000, 300_000, 0, 840_000]
    weights = covered[[0, 1, 3]]
    by_hand = float(np.sum(quarters.mean[[0, 1, 3]] * weights)) / 2_040_000
    assert hour.mean[0] == pytest.approx(by_hand, rel=1e-14)
    assert (hour.low[0], hour.high[0], hour.last[0]) == (100.0, 400.0, 300.0)
    assert (hour.count[0], hour.covered_ms[0]) == (36, 2_040_000)
    assert hour.start_ms.tolist() == [0]


def test_a_step_without_readings_stays_empty() -> None:
    quarters = quarters_of(*readings([0, 60], [1.0, 1.0]), seconds(0, 7200))
    hours = Gathering(seconds(0, 7200), 3_600_000)
    hours.add(part(quarters, 0, 4))
    hours.add(part(quarters, 4, 8))
    assert_array_equal(hours.result().mean, [1.0, np.nan])
    assert hours.result().count.tolist() == [2, 0]


@settings(derandomize=True, deadline=None)
@given(histories(), st.integers(1, 5), st.lists(st.integers(0, 10), max_size=3).map(sorted))
def test_longer_steps_are_those_of_the_whole_however_they_are_handed_over(
    history: Readings, quarters_a_step: int, cuts: list[int]
) -> None:
    span = seconds(-900, 8100)
    quarters = quarters_of(*history, span)
    gathering = Gathering(span, quarters_a_step * QUARTER_MS)
    for first, last in zip([0, *cuts], [*cuts, 10], strict=True):
        gathering.add(part(quarters, first, last))
    found = gathering.result()
    for step, start in enumerate(range(0, 10, quarters_a_step)):
        inside = part(quarters, start, start + quarters_a_step)
        has = inside.count > 0
        assert found.count[step] == inside.count.sum()
        assert found.covered_ms[step] == inside.covered_ms.sum()
        if not has.any():
            assert np.isnan([found.low[step], found.last[step], found.mean[step]]).all()
            continue
        assert found.low[step] == inside.low[has].min()
        assert found.high[step] == inside.high[has].max()
        assert found.last[step] == inside.last[has][-1]
        held = inside.covered_ms > 0
        if held.any():
            mean = np.average(inside.mean[held], weights=inside.covered_ms[held])
            assert found.mean[step] == pytest.approx(mean, rel=1e-9, abs=1e-9)
        else:
            assert np.isnan(found.mean[step])


def test_one_quarter_a_step_changes_no_bit() -> None:
    at_ms, value = readings(range(0, 7200, 7), np.sin(np.arange(1029.0)).tolist())
    quarters = quarters_of(at_ms, value, TWO_HOURS)
    gathering = Gathering(TWO_HOURS, QUARTER_MS)
    gathering.add(quarters)
    for field in fields(Quarters):
        assert_array_equal(getattr(gathering.result(), field.name), getattr(quarters, field.name))


@pytest.mark.parametrize("step_ms", [0, -900_000, 900_001, 60_000])
def test_a_step_is_made_of_quarter_hours(step_ms: int) -> None:
    with pytest.raises(ValueError, match="not a multiple"):
        Gathering(TWO_HOURS, step_ms)
