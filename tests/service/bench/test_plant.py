import numpy as np
import pytest

from joulebook.bench.plant import STEPS_A_DAY, Plant, wander

MIDSUMMER, MIDWINTER = 172, 355


@pytest.mark.parametrize("number", [MIDSUMMER, MIDWINTER])
def test_a_day_is_physically_possible(number: int) -> None:
    day = Plant().day(number, np.random.default_rng(1))
    assert day.pv_w.min() == 0  # it is night
    assert 0 < day.pv_w.max() <= 5000
    assert day.load_l1_w.min() > 0
    assert np.abs(day.battery_w).max() <= 4000
    assert 0.1 <= day.charge_ratio.min() <= day.charge_ratio.max() <= 1


def test_the_battery_stores_what_flows_into_it_without_loss() -> None:
    # By hand: 14 kWh; each step is 1/360 h. The charge is told at each minute's start.
    plant, random = Plant(), np.random.default_rng(1)
    first, second = plant.day(MIDSUMMER, random), plant.day(MIDSUMMER + 1, random)
    rise_wh = (second.charge_ratio[0] - first.charge_ratio[0]) * 14_000
    assert rise_wh == pytest.approx(first.battery_w.sum() / 360)
    assert (first.battery_w > 0).any()
    assert (first.battery_w < 0).any()


def test_summer_is_brighter_than_winter() -> None:
    plant, random = Plant(), np.random.default_rng(1)
    summer = sum(plant.day(MIDSUMMER, random).pv_w.sum() for _ in range(5))
    winter = sum(plant.day(MIDWINTER, random).pv_w.sum() for _ in range(5))
    assert summer > 2 * winter


def test_wandering_is_slow() -> None:
    walk = wander(np.random.default_rng(1), STEPS_A_DAY, 1.0, 30)
    assert walk.size == STEPS_A_DAY
    assert np.abs(np.diff(walk)).max() < 0.3
    assert walk.std() == pytest.approx(0.8, abs=0.1)  # linear between draws: sqrt(2/3)
