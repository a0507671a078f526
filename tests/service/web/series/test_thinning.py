import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from joulebook.core.spans import Span
from joulebook.web.series.thinning import known, line_points, thinned


def test_only_readings_of_the_span_that_are_there() -> None:
    at_ms = np.array([9, 10, 15, 19, 20], dtype=np.int64)
    value = np.array([1.0, 2.0, np.nan, 4.0, 5.0])
    kept_ms, kept = known(at_ms, value, Span(10, 20))
    assert kept_ms.tolist() == [10, 19]
    assert kept.tolist() == [2.0, 4.0]


def test_each_bucket_has_the_least_the_mean_and_the_greatest() -> None:
    # By hand: [0, 10) holds 1, 3 and 8; [10, 20) nothing; [20, 30) only 5.
    buckets = thinned(
        np.array([0, 4, 9, 25], dtype=np.int64),
        np.array([3.0, 1.0, 8.0, 5.0]),
        span=Span(0, 30),
        buckets=3,
    )
    assert buckets.at_ms.tolist() == [0, 10, 20]
    assert buckets.bucket_ms == 10
    assert buckets.count.tolist() == [3, 0, 1]
    assert_array_equal(buckets.low, [1.0, np.nan, 5.0])
    assert_array_equal(buckets.mean, [4.0, np.nan, 5.0])
    assert_array_equal(buckets.high, [8.0, np.nan, 5.0])


def test_no_readings_are_no_values() -> None:
    buckets = thinned(np.empty(0, np.int64), np.empty(0), span=Span(0, 30), buckets=3)
    assert np.isnan(buckets.mean).all()
    assert buckets.count.tolist() == [0, 0, 0]


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.integers(0, 9_999), min_size=1, max_size=300, unique=True).map(sorted),
    st.integers(1, 500),
)
def test_no_reading_is_lost_in_buckets(instants: list[int], buckets: int) -> None:
    at_ms = np.array(instants, dtype=np.int64)
    value = np.sin(at_ms.astype(float))
    found = thinned(at_ms, value, span=Span(0, 10_000), buckets=buckets)
    filled = found.count > 0
    assert found.count.sum() == len(instants)
    assert np.nanmin(found.low) == value.min()
    assert np.nanmax(found.high) == value.max()
    assert (found.low[filled] <= found.mean[filled] + 1e-12).all()
    assert (found.mean[filled] <= found.high[filled] + 1e-12).all()


def test_few_readings_are_drawn_as_they_are() -> None:
    at_ms = np.arange(8, dtype=np.int64) * 60_000
    points = line_points(at_ms, np.arange(8.0), span=Span(0, 480_000), width=4)
    assert not points.thinned
    assert_array_equal(points.at_ms, at_ms)


def test_of_many_readings_the_least_and_the_greatest_of_each_pixel_are_drawn() -> None:
    # By hand, three readings a pixel: 5 1 3 | 2 9 2 | 4 4 4 | 0 7 8.
    at_ms = np.arange(12, dtype=np.int64) * 60_000
    value = np.array([5.0, 1, 3, 2, 9, 2, 4, 4, 4, 0, 7, 8])
    points = line_points(at_ms, value, span=Span(0, 720_000), width=4)
    assert points.thinned
    # In order of time and at their own instants; the first of all and the last stay as well.
    assert points.value.tolist() == [5, 1, 2, 9, 4, 4, 0, 8]
    assert (points.at_ms // 60_000).tolist() == [0, 1, 3, 4, 6, 8, 9, 11]


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.integers(0, 9_999), min_size=1, max_size=400, unique=True).map(sorted),
    st.integers(1, 60),
    st.integers(0, 2**32 - 1),
)
def test_no_extreme_of_any_pixel_is_lost(instants: list[int], width: int, seed: int) -> None:
    at_ms = np.array(instants, dtype=np.int64)
    value = np.random.default_rng(seed).integers(-50, 50, at_ms.size).astype(float)
    span = Span(0, 10_000)
    points = line_points(at_ms, value, span=span, width=width)
    assert points.value.size <= 2 * width + 2
    drawn, whole = (
        thinned(at, values, span=span, buckets=width)
        for at, values in ((points.at_ms, points.value), (at_ms, value))
    )
    assert_array_equal(drawn.low, whole.low)
    assert_array_equal(drawn.high, whole.high)
    # Every point is a reading.
    assert set(zip(points.at_ms.tolist(), points.value.tolist(), strict=True)) <= set(
        zip(instants, value.tolist(), strict=True)
    )


def test_a_line_goes_on_to_the_nearest_readings_outside() -> None:
    at_ms = np.arange(10, dtype=np.int64) * 60_000
    points = line_points(at_ms, np.arange(10.0), span=Span(170_000, 310_000), width=100)
    assert points.value.tolist() == [2.0, 3.0, 4.0, 5.0, 6.0]
    # Nothing is drawn across a span without a reading.
    empty = line_points(at_ms, np.arange(10.0), span=Span(130_000, 140_000), width=100)
    assert empty.value.size == 0


def test_a_gap_of_a_thinned_line_stays_where_it_is() -> None:
    at_ms = np.array([*range(0, 40_000, 10), *range(400_000, 440_000, 10)], dtype=np.int64)
    points = line_points(at_ms, np.sin(at_ms / 7), span=Span(0, 440_000), width=20)
    (broken,) = np.flatnonzero(np.isnan(points.value))
    assert points.at_ms[broken - 1] == 39_990
    assert points.at_ms[broken + 1] == 400_000


def test_a_line_breaks_where_nothing_was_measured() -> None:
    at_ms = np.array([0, 300_000, 600_001], dtype=np.int64)
    points = line_points(at_ms, np.ones(3), span=Span(0, 700_000), width=100)
    assert_array_equal(points.value, [1.0, 1.0, np.nan, 1.0])


def test_a_thinned_line_breaks_too() -> None:
    minute = 60_000
    at_ms = np.array([*range(0, 50 * minute, minute), *range(90 * minute, 100 * minute, minute)])
    points = line_points(at_ms, np.ones(60), span=Span(0, 100 * minute), width=20)
    assert points.thinned
    assert np.isnan(points.value).sum() == 1
