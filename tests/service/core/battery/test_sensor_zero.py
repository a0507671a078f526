import numpy as np
import pytest

from joulebook.core.battery.anchors import measure
from joulebook.core.battery.capacity_fit import fit_capacity
from joulebook.core.battery.sensor_zero import UNKNOWN_U_A, sensor_offset
from tests.helpers.cycled_packs import START_MS, cycled_pack
from tests.helpers.cycled_records import DAY_MS, cycled_history


def test_the_line_is_that_of_the_fit_and_steps_where_the_fit_may() -> None:
    step_ms = START_MS + 40 * DAY_MS
    history = cycled_history(80, offset_a=0.15)
    fit = fit_capacity(measure(history).balances, offset_steps_ms=[step_ms])
    found = sensor_offset(fit)
    at_ms = START_MS + np.arange(0, 80 * DAY_MS, 7 * DAY_MS)
    assert found.at(at_ms) == pytest.approx(fit.offset_at(at_ms), abs=1e-6)
    assert {step_ms - 1, step_ms} <= set(found.at_ms.tolist())
    assert (found.u_a > 0).all()
    assert (found.u_a < 0.1).all()


def test_a_battery_that_is_never_full_has_a_zero_that_nobody_knows() -> None:
    history = cycled_pack(1, step_s=300)
    found = sensor_offset(fit_capacity(measure(history).balances))
    assert (found.offset_a == 0).all()
    assert found.u_a == pytest.approx(UNKNOWN_U_A)
