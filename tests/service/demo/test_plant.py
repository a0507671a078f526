import numpy as np
import pytest

from joulebook.demo.plant import RESERVE_RATIO, panels_w
from joulebook.demo.studio import PANELS_W, STEPS_A_DAY
from joulebook.demo.weather import Weather
from tests.helpers.studio_history import fourteen_months


def kwh(watts: np.ndarray) -> float:
    return float(watts.sum() / 30 / 1000)


def test_the_books_of_power_balance_in_every_step() -> None:
    truth = fourteen_months()
    left_w = truth.pv_w + truth.grid_w - truth.load_w - truth.battery_w - truth.loss_w
    assert np.abs(left_w).max() < 1e-9


def test_signs_are_those_of_the_vocabulary() -> None:
    truth = fourteen_months()
    assert truth.pv_w.min() >= 0
    assert truth.load_w.min() > 0
    # Positive current fills: the charge rises by it, but for the coulombic loss and ageing.
    filling = np.diff(truth.charge_ratio)[truth.current_a[1:] > 5]
    emptying = np.diff(truth.charge_ratio)[truth.current_a[1:] < -5]
    assert filling.min() > 0
    assert emptying.max() < 0
    np.testing.assert_allclose(truth.battery_w, truth.voltage_v * truth.current_a, atol=1e-9)
    # At night nothing is sold.
    assert truth.grid_w[truth.pv_w == 0].min() >= 0
    assert truth.grid_w.min() < -500


def test_energy_is_kept_over_the_whole_history() -> None:
    # An account of its own, from charge: what went in less what came out less the coulombic
    # loss is what the battery holds more than at the start (ageing takes the same share of both).
    truth = fourteen_months()
    half = len(truth.at_ms) // STEPS_A_DAY // 2 * STEPS_A_DAY
    day = slice(half, half + STEPS_A_DAY - 1)
    amps = truth.current_a[day]
    moved_ah = np.where(amps > 0, amps * 0.997, amps).sum() / 30
    held_ah = (truth.charge_ratio * truth.capacity_ah)[[half - 1, half + STEPS_A_DAY - 2]]
    capacity = truth.capacity_ah[[half - 1, half]]
    assert held_ah[1] - held_ah[0] * capacity[1] / capacity[0] == pytest.approx(moved_ah, abs=1e-6)


def test_losses_are_those_of_common_hardware() -> None:
    # Common practice, no source: 93 to 98 % of what enters an LFP battery's terminals leaves
    # them; an inverter of this size idles at 30 to 80 W and loses 3 to 12 % of what it turns.
    truth = fourteen_months()
    assert 0.93 < kwh(np.maximum(-truth.battery_w, 0)) / kwh(np.maximum(truth.battery_w, 0)) < 0.985
    assert 30 < truth.loss_w.min() < 80
    night = (truth.pv_w == 0) & (truth.battery_w < -200)
    turned = truth.load_w[night].sum() / -truth.battery_w[night].sum()
    assert 0.85 < turned < 0.96


def test_a_load_of_900_w_costs_what_the_trade_says() -> None:
    # CV-141 (common practice, no source): 967 W of direct power give 900 W, idle draw included.
    truth = fourteen_months()
    near = (truth.pv_w == 0) & (truth.grid_w == 0) & (np.abs(truth.load_w - 900) < 20)
    assert near.sum() > 10
    ratio = truth.load_w[near] / -truth.battery_w[near]
    assert ratio.mean() == pytest.approx(900 / 967, abs=0.01)


def test_the_battery_stops_at_its_reserve_and_the_grid_takes_over() -> None:
    truth = fourteen_months()
    at_reserve = truth.claimed_ratio[:-1] <= RESERVE_RATIO
    assert at_reserve.any()
    assert truth.battery_w[1:][at_reserve].min() >= 0
    dark = at_reserve & (truth.pv_w[1:] == 0)
    assert (truth.grid_w[1:][dark] > truth.load_w[1:][dark]).all()  # the idle draw too
    assert truth.charge_ratio.min() > 0.02


def test_capacity_falls_by_a_few_percent_and_the_claim_is_another_number() -> None:
    truth = fourteen_months()
    first, last = truth.capacity_ah[0], truth.capacity_ah[-1]
    assert 0.03 < 1 - last / first < 0.07
    assert (np.diff(truth.capacity_ah) <= 0).all()
    # It falls steeply at first, as the root of time.
    half = truth.capacity_ah[len(truth.capacity_ah) // 2]
    assert first - half > half - last
    gap_ah = np.abs(truth.claimed_ah - truth.capacity_ah)[STEPS_A_DAY * 60 :]
    assert gap_ah.min() > 0.3
    drift = np.abs(truth.claimed_ratio - truth.charge_ratio)
    assert 0.005 < drift.mean() < 0.1


def test_it_is_full_on_many_days_and_near_empty_on_many_nights() -> None:
    # What any estimate of capacity needs to see.
    truth = fourteen_months()
    daily = truth.charge_ratio.reshape(-1, STEPS_A_DAY)
    assert (daily.max(axis=1) > 0.995).sum() > 150
    assert (daily.min(axis=1) < 0.16).sum() > 60


def test_the_shed_warms_the_battery_in_summer() -> None:
    truth = fourteen_months()
    monthly_c = truth.battery_c[: 420 * STEPS_A_DAY].reshape(14, -1).mean(axis=1)
    assert monthly_c.max() > 27
    assert monthly_c.min() < 10
    assert truth.shed_c.mean() > truth.ambient_c.mean()


def test_panels_give_their_rating_in_the_light_it_is_made_for() -> None:
    # 1000 W/m² and cells at 25 °C, so air of 25 - 1000 * 25 / 800 °C; 5 % lost to dirt and wire.
    cold = Weather(np.array([1000.0]), np.zeros(1), np.array([25 - 1000 * 25 / 800]))
    assert panels_w(cold)[0] == pytest.approx(0.95 * PANELS_W)
    hot = Weather(np.array([1000.0]), np.zeros(1), np.array([35.0]))
    # 41.25 °C warmer cells at -0.35 % a degree, by hand.
    assert panels_w(hot)[0] == pytest.approx(0.95 * PANELS_W * (1 - 0.0035 * 41.25))


def test_days_go_on_where_the_last_one_ended() -> None:
    truth = fourteen_months()
    # No step between two days is larger than any within them would be.
    jumps = np.abs(np.diff(truth.charge_ratio))
    at_midnight = jumps[STEPS_A_DAY - 1 :: STEPS_A_DAY]
    assert at_midnight.max() <= jumps.max()
