from datetime import date

import pytest

from joulebook.core.estimate import Estimate
from joulebook.web.figures.balance import Bar, balance_ticks, balance_traces
from joulebook.web.figures.layout import nice_step
from joulebook.web.figures.palette import PALETTES
from tests.helpers.day_results import a_day

_LIGHT = PALETTES["light"]


def bar(**wh: float) -> Bar:
    numbers = {
        name: Estimate(value=value, coverage_ratio=1, method="test-1") for name, value in wh.items()
    }
    return Bar("Mon", "Monday", numbers)


def test_what_came_from_stands_above_and_what_went_to_below() -> None:
    bars = [bar(pv_wh=3_000, load_wh=2_000, battery_charge_wh=900, loss_wh=100)]
    heights = {trace["name"]: trace["y"] for trace in balance_traces(bars, _LIGHT)}
    assert heights["Panels"] == [3.0]
    assert heights["Used"] == [-2.0]
    assert heights["To battery"] == [-0.9]
    assert heights["Lost"] == [-0.1]


def test_what_is_not_given_is_a_gap_and_no_bar_of_height_zero() -> None:
    day = a_day(date(2026, 3, 1), None)
    traces = balance_traces([Bar("Sun", "Sunday", day.numbers), Bar("Mon", "Monday", {})], _LIGHT)
    assert all(trace["y"] == [None, None] for trace in traces)
    assert traces[0]["text"][0] == "Sunday<br>Made by the panels: not given"


def test_parts_differ_without_any_colour() -> None:
    patterns = {
        sign: [
            trace["marker"]["pattern"]["shape"]
            for trace in balance_traces([bar(**dict.fromkeys(_ALL, 1.0))], _LIGHT)
            if trace["y"][0] * sign > 0
        ]
        for sign in (1, -1)
    }
    for shapes in patterns.values():
        assert len(set(shapes)) == len(shapes) >= 3


_ALL = (
    *("pv_wh", "load_wh", "battery_discharge_wh", "battery_charge_wh"),
    *("grid_import_wh", "grid_export_wh", "loss_wh"),
)


def test_numbers_on_the_axis_have_no_sign_on_either_side() -> None:
    ticks = balance_ticks([bar(pv_wh=20_000, load_wh=12_000)])
    assert ticks["tickvals"] == [-20, -10, 0, 10, 20]
    assert ticks["ticktext"] == ["20", "10", "0", "10", "20"]


def test_small_numbers_have_decimals_on_the_axis() -> None:
    assert balance_ticks([bar(pv_wh=900)])["ticktext"] == ["0.0", "0.5", "1.0"]
    assert balance_ticks([])["ticktext"][0] == "0.00"


@pytest.mark.parametrize(
    ("least", "step"), [(0.9, 1), (1.0, 1), (1.1, 2), (2.1, 5), (7.0, 10), (0.03, 0.05)]
)
def test_steps_are_1_2_or_5_times_a_power_of_ten(least: float, step: float) -> None:
    assert nice_step(least) == pytest.approx(step)
