"""Lowest, highest and mean. Values are own arithmetic."""

import pytest

from joulebook.core.daily.extremes import level_numbers, temperature_numbers
from tests.helpers.curve_readings import line, seconds

HOUR = seconds(0, 3600)


def test_only_readings_inside_the_span_count() -> None:
    numbers = level_numbers([line([-60, 0, 1800, 3600], [0.1, 0.4, 0.6, 0.9], 3600)], HOUR)
    assert numbers["soc_min_ratio"].value == 0.4
    assert numbers["soc_max_ratio"].value == 0.6  # the reading at the end belongs to the next hour
    # ±3 % uniform: 0.03/√3 · 1.6449 = 0.0285.
    assert numbers["soc_min_ratio"].low == pytest.approx(0.3715, abs=1e-4)


def test_the_most_extreme_of_several_batteries_counts() -> None:
    lines = [line([0, 300], [0.5, 0.6]), line([0, 300, 600], [0.2, 0.3, 0.3])]
    numbers = level_numbers(lines, seconds(0, 600))
    assert (numbers["soc_min_ratio"].value, numbers["soc_max_ratio"].value) == (0.2, 0.6)
    assert numbers["soc_min_ratio"].coverage_ratio == 0.5


def test_a_mean_weighs_by_time_and_not_by_readings() -> None:
    # 20 °C for half an hour, read often; then up to 40 °C in half an hour: (20 + 30)/2 = 25 °C.
    at_s = [*range(0, 1801, 60), 3600]
    numbers = temperature_numbers([line(at_s, [*[20.0] * 31, 40.0], 3600)], HOUR)
    mean = numbers["battery_temperature_mean_c"]
    assert mean.value == pytest.approx(25.0)
    # ±1 °C uniform: 1/√3 · 1.6449 = 0.95.
    assert (mean.low, mean.high) == pytest.approx((24.05, 25.95), abs=0.01)


def test_nothing_measured_is_refused() -> None:
    for numbers in (level_numbers([], HOUR), temperature_numbers([line([], [])], HOUR)):
        assert [number.value for number in numbers.values()] == [None, None]
