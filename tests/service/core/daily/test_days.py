"""A day of a house whose truth is known."""

from datetime import date

import msgspec
import numpy as np
import pytest

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.core.daily.efficiency import joined_sums
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import local_day
from tests.helpers.plants import IDLE_W, PACK_V, RATED_AH, day_inputs, plant_of_days, site

STUDIO = site()
DAY = date(2026, 6, 3)
HOUSE = plant_of_days(DAY, DAY, STUDIO)


def _day(*without: str, day: date = DAY) -> DayResult:
    return compute_day(day_inputs(day, STUDIO, HOUSE.arrays(*without), HOUSE.series))


def _inside(name: str, quantity: str) -> float:
    """Integrate by numpy, readings of the day's span only. [value-hours]"""
    span = local_day(DAY, STUDIO.zone)
    hours = (HOUSE.at_ms - span.start_ms) / 3.6e6
    edges = np.union1d(hours[(hours > 0) & (hours < 24)], [0.0, 24.0])
    return float(np.trapezoid(np.interp(edges, hours, HOUSE.devices[name][quantity]), edges))


def test_energies_are_the_integrals_of_the_powers() -> None:
    numbers = _day().numbers
    assert numbers["pv_wh"].value == pytest.approx(_inside("pv", "power"))
    assert numbers["load_wh"].value == pytest.approx(_inside("load", "power"))
    for name, quantity, into, out in (
        ("battery", "power", "battery_charge_wh", "battery_discharge_wh"),
        ("battery", "current", "battery_charge_ah", "battery_discharge_ah"),
        ("grid", "power", "grid_import_wh", "grid_export_wh"),
    ):
        net = (numbers[into].value or 0) - (numbers[out].value or 0)
        assert net == pytest.approx(_inside(name, quantity))


def test_charge_is_energy_over_voltage() -> None:
    numbers = _day().numbers
    assert numbers["battery_charge_ah"].value == pytest.approx(
        (numbers["battery_charge_wh"].value or 0) / PACK_V
    )


def test_cycles_are_throughput_on_rated_charge() -> None:
    numbers = _day().numbers
    throughput = sum(
        numbers[name].value or 0 for name in ("battery_charge_ah", "battery_discharge_ah")
    )
    assert numbers["efc"].value == pytest.approx(throughput / (2 * RATED_AH))
    assert numbers["efc"].high == pytest.approx(throughput / (2 * RATED_AH) * 1.0095, rel=1e-3)


def test_the_loss_and_the_idle_draw_are_those_of_the_house() -> None:
    numbers = _day().numbers
    true = float(np.mean(HOUSE.loss_w)) * 24
    assert numbers["loss_wh"].value == pytest.approx(true, rel=0.01)
    assert numbers["idle_w"].value == pytest.approx(IDLE_W, abs=0.5)


def test_levels_and_temperatures() -> None:
    numbers = _day().numbers
    soc = HOUSE.devices["battery"]["soc"]
    assert numbers["soc_min_ratio"].value == pytest.approx(float(soc.min()), abs=0.01)
    assert numbers["soc_max_ratio"].value == pytest.approx(float(soc.max()), abs=0.01)
    # 22 + 3·sin over a whole turn: the mean is 22, the highest 25.
    assert numbers["battery_temperature_mean_c"].value == pytest.approx(22.0, abs=1e-3)
    assert numbers["battery_temperature_max_c"].value == pytest.approx(25.0, abs=1e-3)


def test_an_interval_of_a_level_does_not_leave_0_to_1() -> None:
    devices = HOUSE.arrays()
    values = dict(devices["battery"].values)
    values["soc"] = np.linspace(0.0, 1.0, HOUSE.at_ms.size)
    devices["battery"] = DeviceArrays(HOUSE.at_ms, values)
    numbers = compute_day(day_inputs(DAY, STUDIO, devices, HOUSE.series)).numbers
    assert numbers["soc_min_ratio"].low == 0.0
    assert numbers["soc_max_ratio"].high == 1.0


def test_a_day_says_what_it_is_made_of() -> None:
    result = _day()
    assert (result.hours, result.coverage_ratio, result.method) == (24.0, 1.0, "day-1")
    assert result.readings == 4 * 720
    assert result.inputs == (
        "battery power: battery/power",
        "pv power: pv/power",
        "grid power: grid/power",
        "load power: load/power",
        "battery current: battery/current",
    )


def test_a_silent_device_is_not_measured_and_not_zero() -> None:
    numbers = _day("pv").numbers
    assert numbers["pv_wh"].value is None
    assert numbers["pv_wh"].reason == "no pv readings close enough together on this day"
    assert numbers["loss_wh"].value is None
    assert numbers["battery_charge_wh"].value is not None


def test_a_day_without_readings_refuses_everything() -> None:
    result = _day("battery", "pv", "grid", "load")
    assert (result.coverage_ratio, result.readings, result.soc_turns) == (0.0, 0, ())
    assert {number.value for number in result.numbers.values()} == {None}
    assert all(number.reason for number in result.numbers.values())


def test_a_site_without_devices_says_so() -> None:
    span = local_day(DAY, STUDIO.zone)
    result = compute_day(DayInputs(day=DAY, span=span, devices={}, site_series={}))
    reasons = {name: number.reason for name, number in result.numbers.items()}
    assert reasons["battery_charge_wh"] == "the site has no battery device"
    assert reasons["efc"] == "the battery's rated charge was not entered"
    assert reasons["idle_w"] == "the site has no battery device"
    assert (result.runs, result.night) == (None, None)


def test_without_the_owners_facts_what_rests_on_them_is_refused() -> None:
    bare = site(battery_cells=None)
    numbers = compute_day(day_inputs(DAY, bare, HOUSE.arrays(), HOUSE.series)).numbers
    assert numbers["efc"].value is not None
    assert "were not entered" in (numbers["idle_w"].reason or "")


# CV-59: Samoa skipped 30 December 2011.
def test_a_date_that_the_zone_skipped_has_no_hours_and_lacks_nothing() -> None:
    samoa = site(timezone="Pacific/Apia")
    house = plant_of_days(date(2011, 12, 29), date(2011, 12, 31), samoa)
    day = date(2011, 12, 30)
    result = compute_day(day_inputs(day, samoa, house.arrays(), house.series))
    assert (result.hours, result.coverage_ratio) == (0.0, 1.0)
    assert result.numbers["load_wh"].value == 0.0
    assert result.numbers["battery_temperature_mean_c"].value is None


def test_runs_of_days_meet_at_midnight() -> None:
    last = date(2026, 6, 5)
    house = plant_of_days(DAY, last, STUDIO)
    results = [
        compute_day(day_inputs(day, STUDIO, house.arrays(), house.series))
        for day in (DAY, date(2026, 6, 4), last)
    ]
    sums = joined_sums([(each.date, each.runs) for each in results if each.runs is not None])
    assert sums.runs == 1
    soc = house.devices["battery"]["soc"]
    span_ends = [local_day(DAY, STUDIO.zone).start_ms, local_day(last, STUDIO.zone).end_ms]
    start, end = np.interp(span_ends, house.at_ms, soc)
    assert sums.stored_ratio == pytest.approx(end - start)


def test_turns_of_the_level_are_few() -> None:
    turns = _day().soc_turns
    assert 2 <= len(turns) <= 6
    assert max(turns) - min(turns) > 0.2


def test_a_result_goes_to_json_and_back() -> None:
    for result in (_day(), _day("battery"), _day("battery", "pv", "grid", "load")):
        text = msgspec.json.encode(result)
        assert msgspec.json.decode(text, type=DayResult) == result
        assert b"NaN" not in text


def test_of_a_reversed_clamp_a_day_gives_a_reason_and_no_energy() -> None:
    devices = HOUSE.arrays()
    load = devices["load"]
    turned = {name: -value for name, value in load.values.items()}
    devices["load"] = DeviceArrays(load.at_ms, turned)
    day = compute_day(day_inputs(DAY, STUDIO, devices, HOUSE.series))
    for name in ("load_wh", "loss_wh", "idle_w"):
        number = day.numbers[name]
        assert (number.value, number.coverage_ratio) == (None, 0.0)
    reason = day.numbers["load_wh"].reason
    assert reason is not None
    assert "clamp is the wrong way round" in reason
    assert "load power: load/power (left out: below zero)" in day.inputs
    # What the other meters say is as it was.
    assert day.numbers["pv_wh"] == _day().numbers["pv_wh"]


def test_an_hour_below_zero_is_an_hour_that_was_not_measured() -> None:
    devices = HOUSE.arrays()
    load = devices["load"]
    hour = (load.at_ms >= load.at_ms[100]) & (load.at_ms < load.at_ms[100] + 3_600_000)
    power_w = np.where(hour, -500.0, load.values["power"])
    devices["load"] = DeviceArrays(load.at_ms, {**load.values, "power": power_w})
    day, whole = compute_day(day_inputs(DAY, STUDIO, devices, HOUSE.series)), _day()
    part, all_of_it = day.numbers["load_wh"], whole.numbers["load_wh"]
    # An hour and a step are 4.4 to 4.6 % of the day.
    assert part.coverage_ratio == pytest.approx(23 / 24, abs=0.01)
    assert 0 < (part.value or 0) < (all_of_it.value or 0)
