"""Cycles against ASTM E1049, the rainflow package (MIT) and a published summary of 267 cycles."""

from collections import Counter

import numpy as np
import pytest
import rainflow as witness
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.daily.cycles import (
    Cycle,
    DepthBin,
    depth_histogram,
    equivalent_full_cycles,
    rainflow,
    reversals,
    turning_points,
)
from tests.helpers.curve_readings import cycler

#: The history of ASTM E1049-85 §5.4.4; the standard's table of counts is from memory.
ASTM = [-2, 1, -3, 5, -1, 3, -4, 4, -2]


def _counts(values: list[float]) -> dict[float, float]:
    counts: Counter[float] = Counter()
    for cycle in rainflow(values):
        counts[round(cycle.range, 9)] += cycle.count  # type: ignore[assignment]  # halves
    return dict(sorted(counts.items()))


# CV-82: (100 Ah in + 100 Ah out) / (2 · 200 Ah).
def test_half_a_cycle() -> None:
    assert equivalent_full_cycles(100.0, 100.0, rated_ah=200.0) == 0.5


# CV-82b: battery-data-toolkit 0.4.6, 9.84529002997826 Ah of throughput, first capacity
# 0.02173834 Ah, 226.449904408024 cycles; the summary keeps eight decimals.
def test_a_published_summary() -> None:
    data = cycler("p492_summary.csv")
    rows = zip(data["Absolute_Charge_Throughput_Ah"], data["Equivalent_Full_Cycles"], strict=True)
    found = [(equivalent_full_cycles(ah, 0.0, rated_ah=0.02173834), efc) for ah, efc in rows]
    assert len(found) == 267
    assert all(ours == pytest.approx(theirs, abs=5e-7) for ours, theirs in found)
    last = equivalent_full_cycles(9.84529002997826, 0.0, rated_ah=0.02173834)
    assert last == pytest.approx(226.449904408024, abs=1e-9)


# CV-82c: 180 Ah out and in of a battery that is rated 200 Ah, though it holds 180 Ah now.
def test_a_worn_battery_is_counted_on_its_rated_charge() -> None:
    assert equivalent_full_cycles(180.0, 180.0, rated_ah=200.0) == 0.9


@pytest.mark.parametrize("rated_ah", [0.0, -1.0, float("nan")])
def test_a_rated_charge_is_above_zero(rated_ah: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        equivalent_full_cycles(1.0, 1.0, rated_ah=rated_ah)


@pytest.mark.parametrize(
    ("values", "counts"),
    [
        pytest.param(ASTM, {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}, id="CV-85"),
        pytest.param(
            [0.9, 0.2, 0.6, 0.4, 0.95, 0.1, 0.9],
            {0.2: 1, 0.7: 0.5, 0.75: 0.5, 0.8: 0.5, 0.85: 0.5},
            id="CV-86",
        ),
        pytest.param(
            [0.5, 1.0, 0.2, 1.0, 0.2, 1.0, 0.2, 0.5], {0.3: 0.5, 0.5: 0.5, 0.8: 2.5}, id="CV-87"
        ),
        pytest.param([0.5, 0.5, 0.9, 0.9, 0.5], {0.4: 1.0}, id="CV-89"),
        pytest.param([], {}, id="nothing"),
        pytest.param([0.5, 0.5], {}, id="flat"),
    ],
)
def test_known_histories(values: list[float], counts: dict[float, float]) -> None:
    assert _counts(values) == counts


# CV-85b: rainflow 3.2.0 extract_cycles, and our reading of the standard's steps.
def test_halves_and_means_of_the_standards_history() -> None:
    assert rainflow(ASTM) == [
        Cycle(3, -0.5, 0.5),
        Cycle(4, -1, 0.5),
        Cycle(4, 1, 1.0),
        Cycle(8, 1, 0.5),
        Cycle(9, 0.5, 0.5),
        Cycle(8, 0, 0.5),
        Cycle(6, 1, 0.5),
    ]


@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(-50, 50).map(float), min_size=3, max_size=60))
def test_the_rainflow_package_counts_the_same(values: list[float]) -> None:
    # The package finds nothing in two readings, and a half cycle of depth 0 in a flat line.
    found = [cycle[:3] for cycle in witness.extract_cycles(values)]
    theirs = sorted((depth, mean, count) for depth, mean, count in found if depth)
    ours = sorted((cycle.range, cycle.mean, cycle.count) for cycle in rainflow(values))
    assert ours == theirs


# CV-88.
@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(-50, 50).map(float), max_size=60))
def test_counted_ranges_are_half_of_all_steps(values: list[float]) -> None:
    counted = sum(cycle.range * cycle.count for cycle in rainflow(values))
    steps = sum(abs(b - a) for a, b in zip(values, values[1:], strict=False))  # noqa: RUF007
    assert counted == pytest.approx(steps / 2)


def test_noise_below_the_smallest_turn_makes_no_cycles() -> None:
    noisy = [0.5, 0.51, 0.5, 0.6, 0.595, 0.7, 0.69, 0.3, 0.31]
    assert turning_points(noisy, smallest=0.02) == [0.5, 0.7, 0.3]


@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(0, 100), min_size=1, max_size=60), st.integers(0, 60))
def test_days_put_together_turn_like_the_whole(values: list[int], cut: int) -> None:
    history = [float(value) for value in values]
    parts = turning_points(history[:cut]) + turning_points(history[cut:])
    assert turning_points(parts) == turning_points(history)


def test_depths_fall_into_bins() -> None:
    cycles = [Cycle(0.9 - 0.7, 0.8, 1.0), Cycle(0.3, 0.5, 0.5), Cycle(1.0, 0.5, 0.5)]
    bins = depth_histogram(cycles, bins=10)
    assert [each.count for each in bins] == [0, 0, 1.0, 0.5, 0, 0, 0, 0, 0, 0.5]
    assert bins[2] == DepthBin(0.2, 0.3, 1.0)


def test_a_depth_is_a_ratio() -> None:
    with pytest.raises(ValueError, match="not a ratio"):
        depth_histogram([Cycle(1.5, 0.5, 1.0)])


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.integers(0, 100).map(lambda percent: percent / 100)),
    st.sampled_from([0.0, 0.02, 0.3]),
)
def test_the_turning_points_of_the_reversals_are_those_of_all(
    values: list[float], smallest: float
) -> None:
    turns = reversals(np.array(values, dtype=np.float64)).tolist()
    assert turning_points(turns, smallest=smallest) == turning_points(values, smallest=smallest)
    assert len(turns) <= len(values)


def test_reversals_by_hand() -> None:
    history = np.array([0.5, 0.5, 0.6, 0.8, 0.8, 0.7, 0.9, 0.9])
    assert reversals(history).tolist() == [0.5, 0.8, 0.7, 0.9]
