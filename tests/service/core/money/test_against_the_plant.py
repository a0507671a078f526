"""What was saved, beside the truth of the demonstration's plant, which knows nothing of money."""

from datetime import date

import numpy as np

from joulebook.core.money.quarter_energy import Floats
from joulebook.core.money.saved import Passed, saved_of
from joulebook.core.money.together import Together
from joulebook.core.spans import local_day
from joulebook.demo.plant import IDLE_W, Plant
from joulebook.demo.studio import ZONE
from joulebook.demo.weather import Sky, instants

DAYS = 40
START_MS = local_day(date(2026, 4, 1), ZONE).start_ms
BOUGHT, SOLD = 0.13, 0.05


def _minutes(watts: Floats) -> Floats:
    """Return the minutes of quarter hours from steps of two, shape (n, 15). [W]"""
    minutes: Floats = np.repeat(watts, 2).reshape(-1, 15)
    return minutes


def _energy(watts: Floats) -> Floats:
    energy: Floats = _minutes(watts).mean(axis=1) / 4
    return energy


def _cost(grid_w: Floats) -> float:
    """Return what a plant pays, each step of two minutes either buying or selling."""
    bought, sold = np.maximum(grid_w, 0.0).sum(), np.maximum(-grid_w, 0.0).sum()
    return float(bought * BOUGHT - sold * SOLD) / 30 / 1000


def test_what_panels_and_battery_saved_is_what_they_did() -> None:
    at_ms = instants(START_MS, 0, DAYS)
    truth = Plant(18.0).days(at_ms, Sky().days(0, at_ms))
    # The plant's inverter without the battery: DC less what the tracker and its own draw take,
    # less 1.8 % and 6e-6 of a square of what it turns, asleep in the dark.
    direct = np.maximum(truth.pv_w * 0.977 - IDLE_W, 0.0)
    out_w = (np.sqrt(1.018**2 + 4 * 6e-6 * direct) - 1.018) / (2 * 6e-6)
    alone, none = _cost(truth.load_w - out_w), _cost(truth.load_w)
    load, pv = _minutes(truth.load_w), _minutes(truth.pv_w)
    size = DAYS * 96
    common = Together(
        import_wh=_energy(np.maximum(truth.grid_w, 0.0)),
        export_wh=_energy(np.maximum(-truth.grid_w, 0.0)),
        load_wh=_energy(truth.load_w),
        pv_wh=_energy(truth.pv_w),
        battery_wh=_energy(truth.battery_w),
        load_w=(load.min(axis=1), load.max(axis=1)),
        pv_w=(pv.min(axis=1), pv.max(axis=1)),
        import_price=np.full(size, BOUGHT),
        export_price=np.full(size, SOLD),
        measured_h=np.full(size, 0.25),
        ratio=1.0,
        used=np.ones(size, dtype=np.bool_),
    )
    # What the product measures of this inverter, with its interval.
    passed = Passed(0.925, 0.913, 0.937)
    found = saved_of(common, has_panels=True, has_battery=True, passed=passed)
    for number, true in (
        (found.battery, alone - _cost(truth.grid_w)),
        (found.panels, none - alone),
        (found.both, none - _cost(truth.grid_w)),
    ):
        assert number.low is not None
        assert number.high is not None
        assert number.low <= true <= number.high
