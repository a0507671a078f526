import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.curves import (
    aligned,
    clipped,
    coverage_ratio,
    curve,
    mean,
    total,
    usual_max_gap_s,
)
from joulebook.core.daily.energy import integrate_curve
from tests.helpers.curve_readings import Readings, histories, line, readings, seconds


def test_a_missing_reading_is_a_longer_step_and_not_a_hole() -> None:
    drawn = line([0, 60, 120], [1.0, np.nan, 3.0], max_gap_s=300)
    assert drawn.at_ms.tolist() == [0, 120_000]
    assert drawn.joined.tolist() == [True]


def test_a_long_silence_is_a_hole() -> None:
    assert line([0, 60, 361], [1.0, 1.0, 1.0], max_gap_s=300).joined.tolist() == [True, False]


def test_the_usual_gap_is_five_usual_spacings_and_at_most_five_minutes() -> None:
    every_10_s, every_5_min = np.arange(100) * 10_000, np.arange(100) * 300_000
    assert usual_max_gap_s(every_10_s) == 50.0
    assert usual_max_gap_s(every_5_min) == 300.0
    assert usual_max_gap_s(every_5_min, limit_s=900) == 900.0
    assert usual_max_gap_s(np.array([5], dtype=np.int64)) == 300.0


def test_an_hour_at_a_slower_rate_is_usual_too() -> None:
    # 20 h at 5 s and 4 h at 30 s: by count of readings the median is 5 s.
    fast, slow = np.arange(0, 72_000, 5), np.arange(72_000, 86_400, 30)
    assert usual_max_gap_s(np.concatenate([fast, slow]) * 1000) == 150.0
    assert usual_max_gap_s(fast * 1000) == 25.0


def test_an_hour_with_a_few_readings_does_not_set_what_is_usual() -> None:
    lonely = np.array([90_000, 90_040, 90_080])
    assert usual_max_gap_s(np.concatenate([np.arange(0, 72_000, 5), lonely]) * 1000) == 25.0


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    st.integers(-(10**10), 10**10),
    st.lists(
        st.tuples(
            st.sampled_from([1000, 5000, 30_000, 100_000, 400_000, 4_000_000]),
            st.integers(1, 60),
            st.integers(0, 3),
        ),
        max_size=12,
    ),
)
def test_the_usual_gap_is_that_of_the_median_of_each_hour(
    first_ms: int, runs: list[tuple[int, int, int]]
) -> None:
    # Slowly: the median of all steps, then of the steps that begin in each hour.
    steps = [step + jitter * (n % 3) for step, count, jitter in runs for n in range(count)]
    at_ms = np.cumsum(np.array([first_ms, *steps], dtype=np.int64))
    expected = 300.0
    if steps and np.median(steps) * 5 < 300_000:
        usual_ms = float(np.median(steps))
        for hour in set((at_ms[:-1] // 3_600_000).tolist()):
            inside = np.diff(at_ms)[at_ms[:-1] // 3_600_000 == hour]
            if inside.size >= 10:
                usual_ms = max(usual_ms, float(np.median(inside)))
        expected = min(300.0, 5 * usual_ms / 1000)
    assert usual_max_gap_s(at_ms) == expected


@pytest.mark.parametrize(
    ("at_s", "value", "words"),
    [([0, 60], [1.0], "2 instants, but 1 values"), ([60, 60], [1.0, 2.0], "strictly increase")],
)
def test_readings_must_make_sense(at_s: list[float], value: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        curve(*readings(at_s, value))


def test_curves_meet_on_the_instants_of_all_and_keep_their_holes() -> None:
    a = line([0, 100, 200, 300], [0.0, 10.0, 20.0, 30.0])
    b = line([50, 150, 900], [5.0, 5.0, 5.0])  # silent from 150 s to 900 s
    on_a, on_b = aligned([a, b])
    assert (on_a.at_ms // 1000).tolist() == [0, 50, 100, 150, 200, 300, 900]
    assert on_a.value[:6].tolist() == [0.0, 5.0, 10.0, 15.0, 20.0, 30.0]
    assert on_a.joined.tolist() == on_b.joined.tolist()
    assert on_a.joined.tolist() == [False, True, True, False, False, False]


def test_a_curve_with_one_reading_leaves_nothing_in_common() -> None:
    both = aligned([line([0, 60], [1.0, 1.0]), line([30], [1.0])])
    assert not both[0].joined.any()
    nothing = aligned([line([], []), line([60], [1.0])])
    assert nothing[0].joined.size == 0


def test_sum_and_mean_of_curves() -> None:
    one, two = line([0, 60], [1.0, 1.0]), line([0, 30, 60], [0.0, 3.0, 6.0])
    assert total([one]) is one
    assert total([one, two]).value.tolist() == [1.0, 4.0, 7.0]
    assert mean([one, two]).value.tolist() == [0.5, 2.0, 3.5]


def test_a_part_of_a_curve_is_cut_at_the_edges() -> None:
    part = clipped(line([0, 100, 200, 300], [0.0, 10.0, 20.0, 30.0]), seconds(50, 210))
    assert (part.at_ms // 1000).tolist() == [50, 100, 200, 210]
    assert part.value.tolist() == [5.0, 10.0, 20.0, 21.0]
    whole = line([0, 100], [0.0, 10.0])
    assert clipped(whole, seconds(0, 100)).value.tolist() == [0.0, 10.0]


@settings(derandomize=True, deadline=None)
@given(drawn=histories(), start_s=st.integers(-50, 2000), length_s=st.integers(0, 2000))
def test_the_edges_of_a_part_are_those_that_numpy_interpolates(
    drawn: Readings, start_s: int, length_s: int
) -> None:
    at_ms, value = drawn
    part = clipped(curve(at_ms, value, max_gap_s=1e6), seconds(start_s, start_s + length_s))
    if part.at_ms.size > 1:
        edges = part.at_ms[[0, -1]]
        there = ~np.isnan(value)
        true = np.interp(edges, at_ms[there], value[there])
        assert part.value[[0, -1]].tolist() == true.tolist()


@settings(derandomize=True, deadline=None)
@given(drawn=histories(), start_s=st.integers(-50, 2000), length_s=st.integers(1, 2000))
def test_coverage_is_that_of_the_lines_one_by_one(
    drawn: Readings, start_s: int, length_s: int
) -> None:
    whole, span = curve(*drawn), seconds(start_s, start_s + length_s)
    part = clipped(whole, span)
    covered_ms = sum(np.diff(part.at_ms)[part.joined].tolist())
    assert coverage_ratio(whole, span) == min(covered_ms / 1000 / span.length_s, 1.0)


def test_coverage_is_the_measured_share() -> None:
    drawn = line([0, 300, 900, 1200], [1.0] * 4)
    assert coverage_ratio(drawn, seconds(0, 1200)) == 0.5
    assert coverage_ratio(drawn, seconds(150, 450)) == 0.5
    assert coverage_ratio(drawn, seconds(400, 500)) == 0.0
    assert coverage_ratio(drawn, seconds(300, 300)) == 1.0


@pytest.mark.parametrize(("at_s", "left"), [(10, [7.0]), (0, [7.0]), (60, []), (-1, [])])
def test_a_lonely_reading_counts_only_inside(at_s: float, left: list[float]) -> None:
    assert clipped(line([at_s], [7.0]), seconds(0, 60)).value.tolist() == left


@settings(derandomize=True, deadline=None)
@given(histories(), histories())
def test_the_integral_of_a_sum_is_the_sum_of_integrals(one: Readings, other: Readings) -> None:
    lines = [curve(*one, max_gap_s=600), curve(*other, max_gap_s=600)]
    span = seconds(0, 40_000)
    parts = [integrate_curve(part, span).net for part in aligned(lines)]
    both = integrate_curve(total(lines), span).net
    if both is None:
        assert parts == [None, None]
    else:
        assert both == pytest.approx(sum(part or 0.0 for part in parts), abs=1e-6)


@settings(derandomize=True, deadline=None)
@given(histories(), st.integers(0, 600))
def test_putting_on_a_finer_grid_changes_no_integral(one: Readings, offset_s: int) -> None:
    drawn = curve(*one, max_gap_s=600)
    span = seconds(0, 40_000)
    every = np.arange(offset_s, 40_000, 300)
    fine = aligned([drawn, line(every.tolist(), np.zeros(every.size).tolist(), 1e6)])[0]
    inner = seconds(offset_s, float(every[-1]))
    before, after = integrate_curve(drawn, inner), integrate_curve(fine, inner)
    assert span.length_s == 40_000
    assert after.covered_s == pytest.approx(before.covered_s)
    assert after.positive == pytest.approx(before.positive, abs=1e-6)
    assert after.negative == pytest.approx(before.negative, abs=1e-6)
