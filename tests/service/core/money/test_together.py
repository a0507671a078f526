from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.money.prices import prices_of
from joulebook.core.money.together import SiteEnergy, together
from tests.helpers.priced import grid_energy, mean_power, quarters_of, two_bands

LISBON = ZoneInfo("Europe/Lisbon")
NAN = float("nan")
_, ALL_MS = quarters_of(date(2026, 7, 14), date(2026, 7, 14), LISBON)
FOUR_MS = ALL_MS[:4]
PRICES = prices_of([two_bands()], FOUR_MS, LISBON)


def test_all_count_for_the_least_of_each_quarter_hour() -> None:
    site = SiteEnergy(
        grid=grid_energy([100.0, 50.0, 100.0, 100.0], measured=[1.0, 0.5, 1.0, 0.0]),
        load=mean_power([400.0, 400.0, 400.0, 400.0], measured=0.8),
        pv=mean_power([800.0, 800.0, NAN, 800.0]),
        battery=None,
    )
    found = together(site, PRICES, quarters=4)
    assert found is not None
    assert found.used.tolist() == [True, True, False, False]
    # The load was measured for 0.8 of the first; the grid for half of the second.
    assert found.import_wh.tolist() == pytest.approx([80.0, 50.0])
    assert found.load_wh.tolist() == pytest.approx([80.0, 50.0])
    assert found.pv_wh.tolist() == pytest.approx([160.0, 100.0])
    assert found.battery_wh.tolist() == [0.0, 0.0]
    assert found.measured_h.tolist() == pytest.approx([0.2, 0.125])
    assert found.ratio == pytest.approx(1.3 / 4)


def test_time_without_a_tariff_is_left_out() -> None:
    prices = prices_of([two_bands(date(2026, 7, 15))], FOUR_MS, LISBON)
    site = SiteEnergy(
        grid=grid_energy([1.0] * 4), load=mean_power([4.0] * 4), pv=None, battery=None
    )
    found = together(site, prices, quarters=4)
    assert found is not None
    assert (found.ratio, found.import_wh.size) == (0.0, 0)


def test_no_time_has_no_share() -> None:
    empty = np.empty(0, np.int64)
    site = SiteEnergy(grid=grid_energy([]), load=mean_power([]), pv=None, battery=None)
    found = together(site, prices_of([two_bands()], empty, LISBON), quarters=0)
    assert found is not None
    assert found.ratio == 0.0


@pytest.mark.parametrize("lacking", ["grid", "load"])
def test_a_site_without_grid_or_load_meter_has_nothing_together(lacking: str) -> None:
    site = SiteEnergy(
        grid=None if lacking == "grid" else grid_energy([1.0] * 4),
        load=None if lacking == "load" else mean_power([1.0] * 4),
        pv=None,
        battery=None,
    )
    assert together(site, PRICES, quarters=4) is None
