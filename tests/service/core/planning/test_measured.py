from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.money.prices import prices_of
from joulebook.core.money.together import SiteEnergy
from joulebook.core.planning.dispatch import Storage
from joulebook.core.planning.measured import Equipment, measured_time
from tests.helpers.priced import grid_energy, mean_power, quarters_of, two_bands

ZONE = ZoneInfo("Europe/Lisbon")
_, DAY_MS = quarters_of(date(2026, 7, 14), date(2026, 7, 14), ZONE)
START_MS = DAY_MS[:4]
PRICES = prices_of([two_bands()], START_MS, ZONE)
NAN = float("nan")


def test_quarter_hours_that_are_nearly_whole_are_taken_as_whole() -> None:
    site = SiteEnergy(
        grid=grid_energy([90.0, 40.0, 10.0, 10.0], [9.0, 0.0, 0.0, 0.0], measured=[0.9, 0.5, 1, 1]),
        load=mean_power([400.0, 400.0, 400.0, NAN], measured=0.95),
        pv=None,
        battery=None,
    )
    time = measured_time(site, PRICES)
    assert time is not None
    assert time.import_wh[0] == pytest.approx(100.0)
    assert time.export_wh[0] == pytest.approx(10.0)
    assert time.load_wh[:3].tolist() == [100.0, 100.0, 100.0]
    assert time.pv_wh.tolist() == [0.0] * 4
    assert time.known.tolist() == [True, False, True, False]
    assert time.hours == 0.5
    assert time.is_priced


def test_silent_panels_are_unknown() -> None:
    site = SiteEnergy(
        grid=grid_energy([1.0] * 4),
        load=mean_power([4.0] * 4),
        pv=mean_power([NAN, 4.0, 4.0, 4.0]),
        battery=None,
    )
    time = measured_time(site, prices_of([], START_MS, ZONE))
    assert time is not None
    assert time.known.tolist() == [False, True, True, True]
    assert not time.is_priced


def test_without_grid_or_load_meter_there_is_no_measured_time() -> None:
    grid, load = grid_energy([1.0] * 4), mean_power([4.0] * 4)
    for site in (
        SiteEnergy(grid=None, load=load, pv=None, battery=None),
        SiteEnergy(grid=grid, load=None, pv=None, battery=None),
    ):
        assert measured_time(site, PRICES) is None


def test_a_doubtful_battery_has_two_ends() -> None:
    storage = Storage(usable_wh=1.0, charge_w=1.0, discharge_w=1.0, round_trip_ratio=0.9)
    sure = Equipment(passed_ratio=0.9, storage=storage)
    assert sure.doubtful() == []
    assert Equipment(passed_ratio=0.9, storage=None, round_trip=(0.8, 1.0)).doubtful() == []
    ends = Equipment(passed_ratio=0.9, storage=storage, round_trip=(0.8, 1.1)).doubtful()
    assert [each.storage and each.storage.round_trip_ratio for each in ends] == [0.8, 1.0]
    assert np.isfinite(ends[0].course(np.ones(2), np.ones(2)).import_wh).all()
