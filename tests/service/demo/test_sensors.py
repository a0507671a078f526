import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import QUANTITIES
from joulebook.demo.sensors import PLACES, counted_w, running_wh, sense, shown
from joulebook.demo.studio import STEPS_A_DAY
from tests.helpers.studio_history import told

STRETCH = told(426)[1]
TRUTH = STRETCH.truth


def test_the_devices_report_every_quantity_of_the_vocabulary_in_its_order() -> None:
    assert {device: list(of) for device, of in PLACES.items()} == {
        device: list(of) for device, of in QUANTITIES.items()
    }
    counters = {
        (device, name) for device, of in QUANTITIES.items() for name in of if of[name].counter
    }
    powers = counted_w(sense(TRUTH))
    assert {(device, name) for device, of in powers.items() for name in of} == counters


def test_readings_are_what_an_instrument_of_so_many_places_shows() -> None:
    seen = {device: dict.fromkeys(of, np.array([53.14159])) for device, of in PLACES.items()}
    readings = shown(seen)
    assert readings["battery"]["voltage"][0] == 53.1
    assert readings["battery"]["cell_voltage_min"][0] == 53.142
    assert readings["pv"]["power"][0] == 53
    assert readings["pv"]["energy"][0] == 50


@pytest.mark.parametrize(
    ("device", "quantity", "true", "gain", "offset"),
    [
        ("battery", "voltage", TRUTH.voltage_v, 0.002, 0.05),
        ("battery", "current", TRUTH.current_a, 0.01, 0.3),
        ("battery", "power", TRUTH.battery_w, 0.01, 15.0),
        ("battery", "temperature", TRUTH.battery_c, 0.01, 0.5),
        ("inverter", "dc_current", TRUTH.current_a, 0.01, 0.3),
        ("pv", "power", TRUTH.pv_w, 0.015, 5.0),
        ("grid", "power", TRUTH.grid_w, 0.01, 5.0),
        ("load", "power", TRUTH.load_w, 0.015, 3.0),
        ("ambient", "temperature", TRUTH.ambient_c, 0.01, 0.6),
    ],
)
def test_an_instrument_is_wrong_by_a_little(
    device: str, quantity: str, true: np.ndarray, gain: float, offset: float
) -> None:
    # Bounds are common practice, no source: about 1 % and a small zero error.
    slope, zero = np.polyfit(true, STRETCH.seen[device][quantity], 1)
    assert abs(slope - 1) < gain
    assert abs(zero) < offset + abs(slope - 1) * np.abs(true).max()
    assert (slope, zero) != (1, 0)


def test_what_is_never_negative_is_not() -> None:
    for device, of in QUANTITIES.items():
        for name, quantity in of.items():
            if quantity.never_negative and not quantity.counter:
                assert STRETCH.seen[device][name].min() >= 0, (device, name)


def test_both_legs_make_the_load_and_the_service_voltage() -> None:
    load, grid = STRETCH.seen["load"], STRETCH.seen["grid"]
    np.testing.assert_allclose(load["power_l1"] + load["power_l2"], load["power"])
    # CV-143 (common practice, no source): L1-L2 is the sum of the legs, 240 V nominal. ANSI C84.1
    # range A allows 114 to 126 V a leg (from memory).
    for leg in ("voltage_l1", "voltage_l2"):
        assert 114 < grid[leg].min() < grid[leg].max() < 126
    assert (grid["voltage_l1"] + grid["voltage_l2"]).mean() == pytest.approx(240, abs=3)
    # A sound neutral: the legs move together with the load, not against each other.
    daily = [
        grid[leg].reshape(-1, STEPS_A_DAY).mean(axis=1) for leg in ("voltage_l1", "voltage_l2")
    ]
    assert np.corrcoef(*daily)[0, 1] > 0.5


def test_panels_show_nothing_at_night_and_power_is_volts_times_amperes_by_day() -> None:
    panels = STRETCH.seen["pv"]
    night = TRUTH.pv_w == 0
    for quantity in ("power", "voltage", "current"):
        assert not panels[quantity][night].any()
    np.testing.assert_allclose(panels["voltage"] * panels["current"], panels["power"], atol=1e-9)
    assert 90 < panels["voltage"][~night].min() < panels["voltage"].max() < 150


def test_cells_part_near_full_and_stay_around_the_mean() -> None:
    battery = STRETCH.seen["battery"]
    spread = battery["cell_voltage_max"] - battery["cell_voltage_min"]
    full, middle = TRUTH.charge_ratio > 0.99, np.abs(TRUTH.charge_ratio - 0.5) < 0.1
    assert spread[full].mean() > 5 * spread[middle].mean()
    mean_v = TRUTH.voltage_v / 16
    assert np.mean(battery["cell_voltage_min"] < mean_v) > 0.9
    assert np.mean(battery["cell_voltage_max"] > mean_v) > 0.9


def test_counters_add_up_their_own_instruments_power() -> None:
    # Mean power of 600 W for an hour of 30 steps is 600 Wh, from 100 Wh on.
    assert running_wh(100.0, np.full(30, 20.0), None)[[0, 15, 30]].tolist() == [100, 400, 700]
    restarted = running_wh(100.0, np.full(4, 20.0), 2)
    assert restarted.tolist() == [100, 120, 0, 20, 40]


@settings(derandomize=True, deadline=None)
@given(st.lists(st.floats(0, 1e4), min_size=2, max_size=60), st.data())
def test_a_counter_told_in_pieces_is_the_same_counter(
    added: list[float], data: st.DataObject
) -> None:
    cut = data.draw(st.integers(1, len(added) - 1))
    whole = running_wh(5.0, np.array(added), None)
    first = running_wh(5.0, np.array(added[:cut]), None)
    second = running_wh(float(first[-1]), np.array(added[cut:]), None)
    assert [*first, *second[1:]] == whole.tolist()
