"""What an inverter takes, from inverters whose loss is known. Values are own arithmetic."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.estimate import Estimate
from joulebook.core.losses.full_segments import SensorOffset
from joulebook.core.losses.idle_draw import OwnDraw, own_draw
from joulebook.core.spans import Span
from tests.helpers.dark_nights import IDLE_W, dark_nights, loss_w
from tests.helpers.full_cycles import DAY_MS, START_MS, constant_offset, no_offset


def _draw(nights: int = 20, offset: SensorOffset | None = None, **wrong: float) -> OwnDraw:
    history, powers = dark_nights(nights, **wrong)  # type: ignore[arg-type]
    span = Span(START_MS, START_MS + nights * DAY_MS)
    return own_draw(history, powers, span, offset=offset or no_offset())


def _width(number: Estimate) -> float:
    assert number.low is not None
    assert number.high is not None
    return number.high - number.low


def test_the_idle_draw_and_the_loss_at_the_median_load_are_found() -> None:
    draw = _draw(noise_w=4.0)
    assert draw.idle_w.value == pytest.approx(IDLE_W, abs=0.5)
    assert draw.load_w is not None
    assert draw.loss_w.value == pytest.approx(float(loss_w(draw.load_w)), abs=0.5)
    assert draw.conversion.value == pytest.approx(
        draw.load_w / (draw.load_w + float(loss_w(draw.load_w))), abs=0.001
    )
    assert (draw.idle_w.method, draw.loss_w.method) == ("idle-2", "conversion-2")
    assert draw.hours == pytest.approx(200.0)
    assert draw.nights == 20
    assert draw.idle_w.coverage_ratio == pytest.approx(10 / 24)


# CV-84: 18.5 A at 52.27 V are 966.995 W for 900 W of load: 66.995 W lost, 0.930718.
def test_the_loss_of_a_worked_example() -> None:
    history, powers = dark_nights(20, least_w=50.0)
    load = powers.load_w
    dark = powers.pv_w == 0
    # The same draw of 66.995 W at every load, so that it is known at any of them.
    volts = np.full(load.size, 52.27)
    history = replace(
        history,
        voltage_v=volts,
        current_a=np.where(dark, -(load + 18.5 * 52.27 - 900.0) / volts, 5.0),
    )
    span = Span(START_MS, START_MS + 20 * DAY_MS)
    draw = own_draw(history, replace(powers, load_w=load), span, offset=no_offset(), load_w=900.0)
    assert draw.loss_w.value == pytest.approx(66.995, abs=1e-3)
    assert draw.conversion.value == pytest.approx(0.930718, abs=1e-6)
    assert draw.load_w == 900.0


def test_a_scale_error_moves_the_loss_and_hardly_the_idle_draw() -> None:
    right, wrong = _draw(), _draw(dc_gain=1.01)
    assert right.idle_w.value is not None
    assert right.loss_w.value is not None
    # One hundredth of 40 W, and one hundredth of all that flows.
    assert wrong.idle_w.value == pytest.approx(right.idle_w.value + 0.4, abs=0.1)
    assert right.load_w is not None
    assert wrong.loss_w.value == pytest.approx(
        right.loss_w.value + 0.01 * (right.load_w + right.loss_w.value), abs=0.1
    )


def test_an_offset_not_removed_moves_both_and_its_uncertainty_widens_both() -> None:
    right, off = _draw(), _draw(offset_a=-0.1)
    assert right.idle_w.value is not None
    assert off.idle_w.value == pytest.approx(right.idle_w.value + 0.1 * 52, abs=0.3)
    unsure = _draw(offset=constant_offset(0.0, u_a=0.05))
    # 0.05 A · 52 V = 2.6 W; times 1.6449, both ways.
    assert _width(unsure.idle_w) > 2 * 1.6449 * 2.6
    assert _width(unsure.loss_w) > _width(right.loss_w)
    assert unsure.idle_u is not None
    assert right.idle_u is not None
    assert unsure.idle_u.shared == pytest.approx(right.idle_u.shared)


def test_meters_that_are_read_a_minute_apart_do_little_harm() -> None:
    # The load jumps by 800 W and more; a minute in fifteen is of another level.
    found = [_draw(40, late_s=60, seed=seed).idle_w.value or 0.0 for seed in range(8)]
    assert np.mean(found) == pytest.approx(IDLE_W, abs=2.5)


def test_intervals_hold_the_truth_about_nine_times_in_ten() -> None:
    rng = np.random.default_rng(23)
    held_idle = held_loss = 0
    for seed in range(100):
        found_a, offset_a = 0.1, float(rng.normal(0.1, 0.02))
        load_gain, dc_gain = 1 + rng.uniform(-0.01, 0.01, 2)
        draw = _draw(
            15, constant_offset(found_a, 0.02), seed=seed, step_s=300, offset_a=offset_a,
            noise_w=4.0, load_gain=float(load_gain), dc_gain=float(dc_gain),
        )  # fmt: skip
        assert draw.load_w is not None
        truth = float(loss_w(draw.load_w / load_gain))
        held_idle += _holds(draw.idle_w, IDLE_W)
        held_loss += _holds(draw.loss_w, truth)
    assert 86 <= held_idle <= 97
    assert 86 <= held_loss <= 97


def _holds(number: Estimate, truth: float) -> bool:
    assert number.low is not None
    assert number.high is not None
    return number.low <= truth <= number.high


def test_no_load_meter() -> None:
    history, powers = dark_nights(20)
    span = Span(START_MS, START_MS + 20 * DAY_MS)
    blind = own_draw(history, replace(powers, has_load=False), span, offset=no_offset())
    assert blind.idle_w.reason == (
        "no meter reads the load, so what the inverter takes is not known"
    )
    assert blind.conversion.value is None
    nowhere = own_draw(
        history, replace(powers, has_load=False), Span(START_MS, START_MS), offset=no_offset()
    )
    assert nowhere.idle_w.coverage_ratio == 0.0


def test_too_few_dark_hours() -> None:
    draw = _draw(2)
    assert draw.idle_w.reason is not None
    assert draw.idle_w.reason.startswith("20.0 h of 2 nights on battery alone")
    assert draw.nights == 2


def test_a_load_that_is_never_small() -> None:
    draw = _draw(least_w=600.0)
    assert draw.loss_w.reason is not None
    assert "hardly ever below" in draw.loss_w.reason


def test_a_load_that_never_changes() -> None:
    draw = _draw(6, least_w=100.0, spread=0.001, flicker=0.001, noise_w=8.0)
    assert draw.idle_w.reason is not None
    assert "changes too little" in draw.idle_w.reason


def test_meters_that_do_not_go_together() -> None:
    # A load meter that reads a fifth too much: the more flows, the less seems to be lost.
    draw = _draw(load_gain=1.2)
    assert draw.loss_w.reason is not None
    assert draw.loss_w.reason.startswith("the loss seems to fall from 40 W to -")
