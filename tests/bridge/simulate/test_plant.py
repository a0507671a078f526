"""The studio's physics hold together: laws, not numbers."""

import math

import pytest

from joulebook_bridge.simulate.plant import CAPACITY_AH, Plant

MIDNIGHT_S = 1_780_012_800  # 2026-05-29T00:00:00Z, a whole day


def day(seed: int = 1, start_s: float = MIDNIGHT_S, hours: int = 24) -> list[Plant]:
    plant = Plant(seed, start_s)
    for hour in range(1, hours + 1):
        plant.advance(start_s + 3600 * hour)
    return [plant]


def test_power_is_voltage_times_current_and_nodes_balance() -> None:
    plant = Plant(1, MIDNIGHT_S)
    for minute in range(0, 24 * 60, 7):
        plant.advance(MIDNIGHT_S + 60 * minute)
        now = plant.now
        # P = U I, and Kirchhoff at the house's terminals.
        assert math.isclose(now.battery_w, now.battery_v * now.battery_a, abs_tol=1e-6)
        assert math.isclose(now.grid_w + now.inverter_w, now.load_w, abs_tol=1e-6)
        # What the inverter loses is never negative.
        assert now.pv_w - now.battery_w - now.inverter_w >= 0
        assert 0 <= plant.soc <= 1
        assert 0 < now.load_l1_w < now.load_w


def test_energy_of_a_day_is_conserved() -> None:
    [plant] = day()
    counted = plant.counted_wh
    loss_wh = (
        counted["pv"]
        + counted["import"]
        - counted["export"]
        - counted["load"]
        - counted["charge"]
        + counted["discharge"]
    )
    assert 0 < loss_wh < 0.15 * (counted["pv"] + counted["import"])
    assert counted["pv"] > 5000


def test_charge_is_the_integral_of_current() -> None:
    plant = Plant(3, MIDNIGHT_S + 36_000)
    charge_ah = 0.0
    before = plant.soc
    for step in range(3600):
        charge_ah += plant.now.battery_a / 3600
        plant.advance(MIDNIGHT_S + 36_000 + step + 1)
    assert math.isclose(plant.soc - before, charge_ah / CAPACITY_AH, rel_tol=1e-9)


def test_the_same_seed_is_the_same_day_and_another_is_another() -> None:
    assert day(1, hours=6)[0].counted_wh == day(1, hours=6)[0].counted_wh
    assert day(1, hours=10)[0].counted_wh != day(2, hours=10)[0].counted_wh


@pytest.mark.parametrize("soc", [0.05, 0.999])
def test_a_battery_is_neither_emptied_below_its_floor_nor_filled_above(soc: float) -> None:
    night = Plant(1, MIDNIGHT_S + 3600)
    noon = Plant(1, MIDNIGHT_S + 12 * 3600)
    for plant, start_s in ((night, MIDNIGHT_S + 3600), (noon, MIDNIGHT_S + 12 * 3600)):
        plant.soc = soc
        plant.advance(start_s + 20)
    assert night.now.battery_w >= 0 if soc < 0.5 else night.now.battery_w < 0
    assert noon.now.battery_w > 0 if soc < 0.5 else noon.now.battery_w <= 0


def test_time_does_not_run_backwards() -> None:
    plant = Plant(1, MIDNIGHT_S)
    plant.advance(MIDNIGHT_S + 60)
    counted = dict(plant.counted_wh)
    plant.advance(MIDNIGHT_S)
    assert plant.counted_wh == counted


def test_a_full_cell_is_not_beyond_the_table() -> None:
    plant = Plant(1, MIDNIGHT_S)
    plant.soc = 1.0
    plant.advance(MIDNIGHT_S + 10)
    assert 54 < plant.now.battery_v < 56
