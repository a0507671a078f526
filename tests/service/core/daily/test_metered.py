"""Counters of a day beside the integrals. Values are own arithmetic."""

import numpy as np
import pytest

from joulebook.core.daily.metered import metered_numbers
from joulebook.core.powers import DeviceArrays, SeriesSources
from joulebook.core.spans import Span
from tests.helpers.curve_readings import readings, seconds

DAY = seconds(0, 86_400)


def _sources(*counters: tuple[list[float], list[float]], kind: str = "pv") -> SeriesSources:
    """Sources of devices ``pv``, ``pv-2``, … with an energy counter each."""
    devices = {}
    for place, (at_s, raw) in enumerate(counters):
        at_ms, values = readings(at_s, raw)
        name = f"{kind}-{place + 1}" if place else kind
        devices[name] = DeviceArrays(at_ms, {"energy": values})
    return SeriesSources(devices, dict.fromkeys(devices, frozenset({"energy"})))


def test_a_day_rises_from_the_last_reading_before_it_to_the_last_inside() -> None:
    # From 1000 a minute before midnight to 9000 at the next midnight; 9010 is tomorrow's.
    found = metered_numbers(
        _sources(([-60, 60, 43_200, 86_400, 86_460], [1000.0, 1010.0, 5000.0, 9000.0, 9010.0])), DAY
    )
    number = found["pv_counter_wh"]
    assert (number.value, number.coverage_ratio) == (8000.0, 1.0)
    # ±1 %: 8000 · 0.01/√3 = 46.19; steps of 10 Wh: 10/√6 = 4.08; √ of both squared · 1.6449.
    assert number.high == pytest.approx(8000 + 76.27, abs=0.02)
    assert number.low == pytest.approx(8000 - 76.27, abs=0.02)


def test_a_gap_inside_the_day_costs_nothing() -> None:
    found = metered_numbers(_sources(([0, 60, 80_000, 86_400], [0.0, 10.0, 900.0, 1000.0])), DAY)
    assert found["pv_counter_wh"].value == 1000.0
    assert found["pv_counter_wh"].coverage_ratio == 1.0


def test_a_counter_that_stood_still_rose_by_nothing() -> None:
    number = metered_numbers(_sources(([0, 43_200], [7.0, 7.0])), DAY)["pv_counter_wh"]
    assert (number.value, number.low, number.high, number.coverage_ratio) == (0.0, 0.0, 0.0, 0.5)


def test_a_reset_is_refused_with_what_is_known() -> None:
    number = metered_numbers(_sources(([0, 600, 1200, 1800], [5000.0, 5100.0, 0.0, 100.0])), DAY)[
        "pv_counter_wh"
    ]
    assert number.value is None
    assert "rose by 200 Wh at least" in (number.reason or "")


@pytest.mark.parametrize("at_s", [[], [40.0], [-90.0], [90_000.0]])
def test_a_counter_needs_two_readings(at_s: list[float]) -> None:
    number = metered_numbers(_sources((at_s, [5.0] * len(at_s))), DAY)["pv_counter_wh"]
    assert number.reason == "fewer than two readings of the counter on this day"


def test_a_date_without_hours_has_no_rise() -> None:
    number = metered_numbers(_sources(([-60, 60], [1.0, 2.0])), Span(0, 0))["pv_counter_wh"]
    assert number.value is None


def test_devices_of_a_kind_add_up_where_all_are_there() -> None:
    one, two = ([0.0, 86_400.0], [0.0, 1000.0]), ([0.0, 43_200.0], [0.0, 300.0])
    number = metered_numbers(_sources(one, two), DAY)["pv_counter_wh"]
    assert (number.value, number.coverage_ratio) == (1300.0, 0.5)
    silent = metered_numbers(_sources(one, ([], [])), DAY)["pv_counter_wh"]
    assert silent.value is None


def test_a_site_without_counters_has_no_such_numbers() -> None:
    assert metered_numbers(_sources(kind="load"), DAY) == {}
    sources = SeriesSources({}, {"load": frozenset({"energy"})})
    assert metered_numbers(sources, DAY)["load_counter_wh"].value is None
    device = DeviceArrays(np.array([0, 60_000]), {"power": np.array([1.0, 2.0])})
    unread = SeriesSources({"load": device}, {"load": frozenset({"energy", "power"})})
    assert metered_numbers(unread, DAY)["load_counter_wh"].value is None
