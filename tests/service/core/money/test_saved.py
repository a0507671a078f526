import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.money.saved import Passed, Saved, saved_of
from joulebook.core.money.together import Together

EXACT = Passed(0.9, 0.9, 0.9)


def common(
    *,
    bought: Sequence[float] = (0.0, 0.0),
    sold: Sequence[float] = (0.0, 0.0),
    load: Sequence[float] = (250.0, 500.0),
    pv: Sequence[float] = (1000.0, 0.0),
    ratio: float = 1.0,
) -> Together:
    """Return quarter hours at 0.30 a kWh bought and 0.10 sold."""
    size = len(load)
    return Together(
        import_wh=np.array(bought),
        export_wh=np.array(sold),
        load_wh=np.array(load),
        pv_wh=np.array(pv),
        battery_wh=np.zeros(size),
        load_w=(np.array(load) * 4, np.array(load) * 4),
        pv_w=(np.array(pv) * 4, np.array(pv) * 4),
        import_price=np.full(size, 0.30),
        export_price=np.full(size, 0.10),
        measured_h=np.full(size, 0.25),
        ratio=ratio,
        used=np.ones(size, dtype=np.bool_),
    )


def saved(found: Together | None, passed: Passed = EXACT) -> Saved:
    return saved_of(found, has_panels=True, has_battery=True, passed=passed)


def test_the_worked_example() -> None:
    # docs/methods/saved.md. As it was: nothing. Without battery: 900 - 250 Wh sold, 500 bought:
    # -0.65 · 0.10 + 0.50 · 0.30 = 0.085. Without both: 0.75 · 0.30 = 0.225.
    found = saved(common())
    assert (found.as_it_was, found.without_battery, found.without_both) == pytest.approx(
        (0.0, 0.085, 0.225)
    )
    assert found.battery.value == pytest.approx(0.085)
    assert found.panels.value == pytest.approx(0.140)
    assert found.both.value == pytest.approx(0.225)


def test_what_was_bought_and_sold_is_not_saved() -> None:
    # 100 Wh bought and 60 sold as it was: 0.030 - 0.006 less saved, all of it by the battery.
    found = saved(common(bought=(0.0, 100.0), sold=(60.0, 0.0)))
    assert found.battery.value == pytest.approx(0.085 - 0.024)
    assert found.panels.value == pytest.approx(0.140)


def test_parts_add_up_to_the_whole() -> None:
    found = saved(common(bought=(3.0, 120.0), sold=(17.0, 0.0)))
    assert (found.panels.value or 0) + (found.battery.value or 0) == pytest.approx(found.both.value)


def test_the_interval_is_that_of_the_meters_by_hand() -> None:
    # Saved by both is load · 0.30 - what was paid; k drops out. Each meter within ±1 %, uniform:
    # 1.6449 · 0.01 / √3 · hypot(0.225, 0.024).
    found = saved(common(bought=(0.0, 100.0), sold=(60.0, 0.0)), Passed(0.9, 0.8, 1.0))
    half = 1.6449 * 0.01 / math.sqrt(3) * math.hypot(0.225, 0.024)
    assert found.both.value == pytest.approx(0.201)
    assert (found.both.high or 0) - (found.both.value or 0) == pytest.approx(half)


def test_what_the_inverter_passes_on_widens_both_parts_by_hand() -> None:
    # By hand: one watt-hour more of k · pv is 0.10 less in the second bill while there is a
    # surplus: 1000 Wh · 0.1 · 0.10 / 1000 = 0.01 at the ends of k.
    plain, wide = saved(common()), saved(common(), Passed(0.9, 0.8, 1.0))
    for name in ("panels", "battery"):
        halves = [
            (getattr(each, name).high or 0) - (getattr(each, name).value or 0)
            for each in (plain, wide)
        ]
        assert halves[1] == pytest.approx(math.hypot(halves[0], 0.01))


def test_what_can_have_run_both_ways_without_the_battery_by_hand() -> None:
    # The load is 0 or 800 W and 400 W on average, the panels give 400 W all the time, all of it
    # passed on: at most 200 W run either way for a quarter hour, 50 Wh, and half of it is taken:
    # 25 Wh bought at 0.30 and sold at 0.10. From none to all of it is uniform: ±0.005 / √3.
    steady = np.array([400.0])
    found = common(bought=(0.0,), sold=(0.0,), load=(100.0,), pv=(100.0,))
    found = replace(found, load_w=(steady - 400, steady + 400), pv_w=(steady, steady))
    told = saved(found, Passed(1.0, 1.0, 1.0))
    assert told.without_battery == pytest.approx(0.025 * 0.20)
    plain = saved(replace(found, load_w=(steady, steady)), Passed(1.0, 1.0, 1.0))
    halves = [(each.battery.high or 0) - (each.battery.value or 0) for each in (plain, told)]
    assert halves[1] == pytest.approx(math.hypot(halves[0], 1.6449 * 0.005 / math.sqrt(3)), rel=0.2)


def test_a_site_without_battery_or_panels_says_so() -> None:
    found = saved_of(common(), has_panels=False, has_battery=False, passed=EXACT)
    assert found.panels.reason == "the site has no panels"
    assert found.battery.reason == "the site has no battery"
    assert found.both.value is not None


def test_too_little_of_the_time_says_nothing() -> None:
    found = saved(replace(common(), ratio=0.49))
    assert found.both.reason == (
        "only 49% of the time was measured by all meters at once and has a tariff; 50% are needed"
    )
    assert found.without_both is None
    assert found.battery.coverage_ratio == 0.49


def test_without_meters_nothing_is_told() -> None:
    found = saved(None)
    assert found.panels.reason == "the site has no meter of the grid or of the load"
