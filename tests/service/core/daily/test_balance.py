"""The balance of houses whose loss is known. Values are own arithmetic."""

import numpy as np
import pytest

from joulebook.core.curves import Curve, curve
from joulebook.core.daily.balance import common_flows, loss_wh
from joulebook.core.spans import Span
from tests.helpers.curve_readings import line, seconds
from tests.helpers.plants import IDLE_W, plant

DAY = Span(0, 86_400_000)


def _powers(step_s: int = 120) -> dict[str, Curve | None]:
    house = plant(DAY, step_s=step_s)
    return {
        kind: curve(house.at_ms, house.devices[kind]["power"])
        for kind in ("pv", "grid", "load", "battery")
    }


def test_the_loss_is_what_is_left_over() -> None:
    # For one hour: pv 1500 + grid 200 = load 600 + battery 1000 + loss 100 W.
    powers: dict[str, Curve | None] = {
        "pv": line([0, 300, 3600], [1500.0] * 3, 3600),
        "grid": line([0, 3600], [200.0] * 2, 3600),
        "load": line([0, 3600], [600.0] * 2, 3600),
        "battery": line([0, 3600], [1000.0] * 2, 3600),
    }
    loss = loss_wh(powers, seconds(0, 3600))
    assert loss.value == pytest.approx(100.0)
    # Meters of ±1 %: 0.01/√3 · √(1500² + 200² + 600² + 1000²) = 11.03 Wh; · 1.6449 = 18.14 Wh.
    assert loss.low == pytest.approx(100 - 18.14, abs=0.01)
    assert loss.high == pytest.approx(100 + 18.14, abs=0.01)
    assert loss.coverage_ratio == 1.0


def test_a_day_of_a_known_house() -> None:
    house = plant(DAY)
    true_wh = float(np.trapezoid(house.loss_w, house.at_ms / 3.6e6))
    outside = 600 / 3600 * float(np.mean(house.loss_w))  # five minutes on either side
    loss = loss_wh(_powers(), DAY)
    assert loss.value == pytest.approx(true_wh - outside, rel=0.01)
    assert loss.value is not None
    assert loss.value > 24 * IDLE_W


def test_readings_at_different_instants_balance_too() -> None:
    powers, shifted = _powers(), plant(Span(37_000, 86_437_000))
    powers["load"] = curve(shifted.at_ms, shifted.devices["load"]["power"])
    loss = loss_wh(powers, DAY)
    assert loss.value is not None
    assert loss.low is not None
    assert loss.low < 24 * (IDLE_W + 0.04 * 600) < (loss.high or 0.0)


def test_only_the_time_in_which_all_are_known_counts() -> None:
    powers = _powers()
    house = plant(DAY)
    morning = house.at_ms < 18 * 3_600_000
    powers["grid"] = curve(house.at_ms[morning], house.devices["grid"]["power"][morning])
    loss = loss_wh(powers, DAY)
    assert loss.coverage_ratio == pytest.approx(0.75, abs=0.002)
    assert loss.value == pytest.approx(18 * (IDLE_W + 0.04 * 530), rel=0.1)


def test_a_silent_device_is_unknown_and_not_zero() -> None:
    powers = _powers()
    powers["pv"] = line([], [])
    loss = loss_wh(powers, DAY)
    assert loss.value is None
    assert loss.reason == (
        "only 0% of the time has pv, grid, load, battery measured together, "
        "where one alone has 100%; half of that is needed"
    )


def test_a_day_that_is_not_over_has_a_loss_so_far() -> None:
    house = plant(DAY)
    night = house.at_ms < 6 * 3_600_000
    powers: dict[str, Curve | None] = {
        kind: curve(house.at_ms[night], house.devices[kind]["power"][night])
        for kind in ("pv", "grid", "load", "battery")
    }
    loss = loss_wh(powers, DAY)
    assert loss.coverage_ratio == pytest.approx(0.25, abs=0.002)
    assert loss.value is not None


def test_a_device_that_the_site_never_had_is_not_there() -> None:
    powers: dict[str, Curve | None] = {
        "pv": None,
        "grid": line([0, 3600], [700.0] * 2, 3600),
        "load": line([0, 3600], [600.0] * 2, 3600),
        "battery": line([0, 3600], [50.0] * 2, 3600),
    }
    assert loss_wh(powers, seconds(0, 3600)).value == pytest.approx(50.0)
    flows = common_flows(powers, seconds(0, 3600))
    assert flows.pv_w.value.tolist() == [0.0, 0.0]


@pytest.mark.parametrize("kind", ["battery", "load"])
def test_without_battery_or_load_nothing_balances(kind: str) -> None:
    loss = loss_wh({**_powers(), kind: None}, DAY)
    assert loss.reason == f"the site has no {kind} device, so nothing balances"


def test_meters_that_disagree_give_a_loss_below_zero() -> None:
    powers: dict[str, Curve | None] = {
        "pv": None,
        "grid": line([0, 3600], [600.0] * 2, 3600),
        "load": line([0, 3600], [601.0] * 2, 3600),
        "battery": line([0, 3600], [0.0] * 2, 3600),
    }
    assert loss_wh(powers, seconds(0, 3600)).value == pytest.approx(-1.0)
