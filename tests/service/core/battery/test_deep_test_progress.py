"""The same record, cut off at one hour after another: what an owner is told meanwhile."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.anchors import measure
from joulebook.core.battery.deep_test_plan import target_of
from joulebook.core.battery.deep_test_progress import Progress, progress_of
from joulebook.core.history import PackHistory
from tests.helpers.deep_nights import deep_nights, kept, night_ms, until

TARGET = target_of(200.0, 16)
DEEP = deep_nights([*[0.4] * 12, 0.05, 0.4])
SHALLOW = deep_nights([*[0.4] * 12, 0.11, 0.05, 0.4])
#: Three hours after the night before; the battery is being charged.
STARTED_MS = night_ms(11, 18)


def progress(history: PackHistory, started_ms: int = STARTED_MS) -> Progress:
    return progress_of(history, measure(history), TARGET, started_ms=started_ms)


@pytest.mark.parametrize(
    ("hour", "stage", "drawn_ah", "missing"),
    [
        (-5.0, "waiting for full", None, "a full charge: held at the charge voltage"),
        (-1.0, "discharging", 0.0, "about 184 Ah more, down to about 50.7 V"),
        (8.0, "discharging", 136.0, "about 48 Ah more"),
        (14.9, "at the bottom", 190.0, "put the reserve back"),
        (17.0, "recharging", 143.5, "a full charge, without a gap"),
        (21.0, "done", 0.0, ""),
    ],
)
def test_a_test_goes_from_full_to_full(
    hour: float, stage: str, drawn_ah: float | None, missing: str
) -> None:
    found = progress(until(DEEP, night_ms(12, hour)))
    assert found.stage == stage
    assert (found.drawn_ah is None) == (drawn_ah is None)
    assert found.drawn_ah == pytest.approx(drawn_ah, abs=2.0)
    assert " ".join(found.missing).startswith(missing)
    assert bool(found.missing) == bool(missing)


def test_the_cell_s_rest_voltage_is_told_and_its_state_where_it_tells_one() -> None:
    high, low = (progress(until(DEEP, night_ms(12, hour))) for hour in (8.0, 14.9))
    assert high.cell_v == pytest.approx(3.284, abs=0.01)
    assert (high.state, high.lowest_state) == (None, None)
    assert low.state == pytest.approx(0.05, abs=0.005)
    assert low.lowest_state == pytest.approx(0.052, abs=0.005)


def test_a_night_that_was_not_deep_enough_is_told_and_the_next_can_be() -> None:
    found = progress(until(SHALLOW, night_ms(12, 17.5)))
    assert found.stage == "recharging"
    assert found.missing[0].startswith("it was not low enough (it came down to 1")
    assert progress(until(SHALLOW, night_ms(13, 6))).stage == "discharging"
    assert progress(until(SHALLOW, night_ms(13, 21))).stage == "done"
    shallower = deep_nights([*[0.4] * 12, 0.3])
    found = progress(until(shallower, night_ms(12, 17.5)))
    assert "hardly tells the charge" in found.missing[0]


def test_readings_that_broke_off_begin_again() -> None:
    gap = (DEEP.at_ms > night_ms(12, 6)) & (DEEP.at_ms < night_ms(12, 7))
    found = progress(until(kept(DEEP, ~gap), night_ms(12, 9)))
    assert (found.stage, found.drawn_ah) == ("waiting for full", None)
    assert "begin again" in found.missing[0]


def test_at_the_bottom_under_a_heavy_load_it_waits_for_a_light_one() -> None:
    # The last two hours of the night drawn at 40 A, which is not quiet.
    heavy = (DEEP.at_ms >= night_ms(12, 13)) & (DEEP.at_ms < night_ms(12, 16))
    current = np.where(heavy, -40.0, DEEP.current_a)
    voltage = np.where(heavy, 50.0 - 40 * 0.014 * 1.3, DEEP.voltage_v)
    history = replace(DEEP, current_a=current, voltage_v=voltage)
    found = progress(until(history, night_ms(12, 14)))
    assert (found.stage, found.missing) == ("at the bottom", ("a lighter load for some minutes",))


def test_a_battery_that_was_never_seen_full_is_told_so() -> None:
    found = progress(until(DEEP, night_ms(2, 0)), night_ms(1, -1))
    assert found.stage == "waiting for full"
    assert "never seen being held full" in found.missing[1]


def test_without_a_voltage_or_temperature_it_says_what_it_can() -> None:
    part = until(DEEP, night_ms(12, 8))
    nothing = np.full(part.at_ms.size, np.nan)
    without = progress(replace(part, voltage_v=nothing))
    assert (without.stage, without.cell_v, without.state) == ("waiting for full", None, None)
    found = progress(replace(part, temperature_c=nothing))
    assert found.cell_v == pytest.approx(3.284, abs=0.01)


def test_too_few_load_steps_and_the_resistance_is_assumed() -> None:
    part = until(deep_nights([0.4] * 8), night_ms(7, 8))
    steady = replace(part, current_a=np.where(part.current_a < 0, -8.0, part.current_a))
    found = progress(steady, night_ms(7, -1))
    assert found.stage == "discharging"
    assert found.cell_v == pytest.approx(3.3, abs=0.05)
