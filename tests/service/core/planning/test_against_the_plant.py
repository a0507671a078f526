"""Plans beside what a plant really does that was made larger: the demonstration's, step by step.

The plant knows nothing of planning: cells with voltage and heat, an inverter with its own losses,
a reserve by the battery's own count, and a load that goes back to the grid below it.
"""

from datetime import date

import numpy as np
import pytest

from joulebook.core.planning.dispatch import Floats, Storage
from joulebook.core.planning.measured import Equipment, MeasuredTime
from joulebook.core.planning.plan import plan_of
from joulebook.core.spans import local_day
from joulebook.demo.plant import Plant
from joulebook.demo.studio import BATTERY_AH, PANELS_W, ZONE
from joulebook.demo.weather import Sky, instants

DAYS = 60
START_MS = local_day(date(2026, 3, 10), ZONE).start_ms


def _quarters(watts: Floats) -> Floats:
    """Return energies of quarter hours from steps of two minutes. [Wh]"""
    energies: Floats = np.repeat(watts, 2).reshape(-1, 15).mean(axis=1) / 4
    return energies


def lived(monkeypatch: pytest.MonkeyPatch, *, panels: float, battery: float) -> MeasuredTime:
    """Return what a plant does in spring, its panels and battery that much larger."""
    monkeypatch.setattr("joulebook.demo.plant.PANELS_W", PANELS_W * panels)
    monkeypatch.setattr("joulebook.demo.battery.BATTERY_AH", BATTERY_AH * battery)
    at_ms = instants(START_MS, 0, DAYS)
    truth = Plant(18.0).days(at_ms, Sky().days(0, at_ms))
    return MeasuredTime(
        pv_wh=_quarters(truth.pv_w),
        load_wh=_quarters(truth.load_w),
        import_wh=_quarters(np.maximum(truth.grid_w, 0.0)),
        export_wh=_quarters(np.maximum(-truth.grid_w, 0.0)),
        import_price=np.full(DAYS * 96, 0.13),
        export_price=np.full(DAYS * 96, 0.05),
    )


@pytest.mark.parametrize(
    ("panels", "battery"), [(1.5, 1.0), (0.5, 1.0), (1.0, 2.0), (1.0, 0.5), (1.5, 2.0)]
)
def test_what_was_planned_is_what_comes_to_pass(
    monkeypatch: pytest.MonkeyPatch, panels: float, battery: float
) -> None:
    def equipment(size: float) -> Equipment:
        # What the product measures of the studio: 97.5 % back, 92.5 % passed on; a tenth kept.
        storage = Storage(
            usable_wh=size * BATTERY_AH * 51.2 * 0.9,
            charge_w=5000.0,
            discharge_w=5000.0,
            round_trip_ratio=0.975,
        )
        return Equipment(passed_ratio=0.925, storage=storage)

    before = lived(monkeypatch, panels=1.0, battery=1.0)
    after = lived(monkeypatch, panels=panels, battery=battery)
    plan = plan_of(before, equipment(1.0), changed=equipment(battery), pv_scale=panels)
    for planned, true in (
        (plan.change.import_wh, after.import_wh),
        (plan.change.export_wh, after.export_wh),
    ):
        assert planned.low is not None
        assert planned.high is not None
        assert planned.low - 1 <= float(true.sum()) <= planned.high + 1
    # And the change goes the way that it went.
    saved = float(after.import_wh.sum() - before.import_wh.sum())
    assert np.sign(plan.difference.import_wh.value or 0.0) == np.sign(saved)
