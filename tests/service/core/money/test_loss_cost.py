from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.bill import METER_HALF
from joulebook.core.money.loss_cost import idle_cost, losses_of, replacement_of
from joulebook.core.money.together import Together

IDLE = Estimate(value=40.0, low=36.0, high=44.0, coverage_ratio=0.3, method="idle-2")


def common(
    bought: Sequence[float],
    sold: Sequence[float],
    lost: Sequence[float],
    *,
    dear: Sequence[float] | None = None,
    cheap: float = 0.10,
) -> Together:
    """Return quarter hours of 500 Wh of load, fed by panels, grid and battery with a loss."""
    size = len(bought)
    into, out = np.array(bought), np.array(sold)
    load = np.full(size, 500.0)
    return Together(
        import_wh=into,
        export_wh=out,
        load_wh=load,
        pv_wh=load + np.array(lost) + out - into,
        battery_wh=np.zeros(size),
        load_w=(load * 4, load * 4),
        pv_w=(np.zeros(size), np.zeros(size)),
        import_price=np.full(size, 0.30) if dear is None else np.array(dear),
        export_price=np.full(size, cheap),
        measured_h=np.full(size, 0.25),
        ratio=1.0,
        used=np.ones(size, dtype=np.bool_),
    )


def test_the_worked_example() -> None:
    # docs/methods/loss-cost.md: 60 Wh lost while buying at 0.30, 40 Wh on the battery, on a day
    # that bought 2 kWh at 0.30 and 1 kWh at 0.15: 0.060 · 0.30 + 0.040 · 0.25.
    found = common([2000.0, 0.0, 1000.0], [0.0] * 3, [60.0, 40.0, 0.0], dear=[0.30, 0.20, 0.15])
    wh, cost = losses_of(found, np.zeros(3, dtype=np.int64))
    assert wh.value == pytest.approx(100.0)
    assert cost.value == pytest.approx(0.060 * 0.30 + 0.040 * 0.25)


def test_each_quarter_hour_has_the_price_of_what_was_displaced() -> None:
    # Three days: one that bought in its second quarter hour, one that only sold, one that did
    # neither. A meter at rest that shows 3 Wh buys nothing.
    bought = [3.0, 900.0, 0.0, 0.0, 0.0, 0.0]
    sold = [0.0, 0.0, 0.0, 400.0, 0.0, 0.0]
    found = common(bought, sold, [0.0] * 6, dear=[0.30, 0.20, 0.30, 0.30, 0.30, 0.30])
    price = replacement_of(found, np.array([0, 0, 1, 1, 2, 2])).price
    assert price.tolist() == pytest.approx([0.20, 0.20, 0.10, 0.10, 0.10, 0.10])


def test_the_interval_reaches_from_the_lower_price_to_the_higher() -> None:
    found = common([500.0, 500.0], [0.0, 0.0], [60.0, 40.0])
    wh, cost = losses_of(found, np.zeros(2, dtype=np.int64))
    # By hand: panels 100 Wh, bought 1000, load 1000; each within its meter's limit.
    half_wh = METER_HALF * np.sqrt(100.0**2 + 1000.0**2 + 1000.0**2)
    assert (wh.low, wh.high) == pytest.approx((100 - half_wh, 100 + half_wh))
    assert (cost.low, cost.high) == pytest.approx(
        (0.1 * 0.10 - half_wh / 1000 * 0.30, 0.1 * 0.30 + half_wh / 1000 * 0.30)
    )


def test_where_selling_is_dearer_the_ends_are_the_other_way_round() -> None:
    found = common([500.0, 500.0], [0.0, 0.0], [60.0, 40.0], cheap=0.50)
    price = replacement_of(found, np.zeros(2, dtype=np.int64))
    assert (price.least.tolist(), price.most.tolist()) == ([0.30, 0.30], [0.50, 0.50])


def test_idle_draw_a_year_by_hand() -> None:
    # 40 W · 8.76 h/1000 · half of the time at 0.30, half at 0.10.
    found = common([500.0, 0.0], [0.0, 500.0], [0.0, 0.0])
    year = idle_cost(found, np.zeros(2, dtype=np.int64), IDLE)
    assert year.value == pytest.approx(40 * 8.76 * 0.20)
    assert (year.low, year.high) == pytest.approx((36 * 8.76 * 0.10, 44 * 8.76 * 0.30))
    day = idle_cost(found, np.zeros(2, dtype=np.int64), IDLE, hours=24.0)
    assert day.value == pytest.approx(40 * 0.024 * 0.20)


def test_an_idle_draw_without_an_interval_has_that_of_the_prices() -> None:
    found = common([500.0], [0.0], [0.0])
    plain = replace(IDLE, low=None, high=None)
    year = idle_cost(found, np.zeros(1, dtype=np.int64), plain)
    assert (year.low, year.high) == pytest.approx((40 * 8.76 * 0.10, 40 * 8.76 * 0.30))


def test_an_idle_draw_that_is_not_given_costs_nothing_that_could_be_told() -> None:
    found = common([500.0], [0.0], [0.0])
    nothing = refused("only 3 nights", method="idle-2")
    assert idle_cost(found, np.zeros(1, dtype=np.int64), nothing).reason == "only 3 nights"


def test_without_enough_of_the_time_nothing_is_told() -> None:
    found = replace(common([500.0], [0.0], [0.0]), ratio=0.2)
    day = np.zeros(1, dtype=np.int64)
    for each in (*losses_of(found, day), idle_cost(found, day, IDLE)):
        assert each.reason is not None
        assert each.reason.startswith("only 20% of the time")
        assert each.coverage_ratio == 0.2


def test_without_meters_nothing_is_told() -> None:
    for each in (*losses_of(None, None), idle_cost(None, None, IDLE)):
        assert each.reason == "the site has no meter of the grid or of the load"
