"""What the flat part tells: on made-up packs with a known zero and known polarisation."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.battery.full_anchors import charge_voltage, full_charges
from joulebook.core.battery.low_anchors import cell_voltmeter, search_lows
from joulebook.core.battery.plateau import LARGEST_ZERO_V, Plateau, read_plateau
from joulebook.core.battery.resistance import PackResistance, assumed_resistance
from joulebook.core.battery.rest_voltage import slow_mean
from joulebook.core.history import PackHistory
from tests.helpers.cycled_packs import CAPACITY_AH, RESISTANCE_OHM, cycled_pack

DAYS = 12
KNOWN = PackResistance(
    terms=np.array([RESISTANCE_OHM, 0, 0, 0, 0]),
    covariance=np.zeros((5, 5)),
    steps=100,
    span_c=(25.0, 25.0),
)


def _read(
    history: PackHistory, resistance: PackResistance = KNOWN, *, still: bool = False
) -> Plateau:
    counter = count_charge(history)
    held = charge_voltage(history)
    assert held is not None
    full = full_charges(history, counter, held)
    meter = cell_voltmeter(history, counter, history.temperature_c, resistance, 0.0)
    if still:
        meter = replace(meter, current_a=np.zeros_like(meter.current_a))
    return read_plateau(meter, counter, full, search_lows(meter, counter, full), CAPACITY_AH)


def test_a_pack_like_the_generic_one() -> None:
    plateau = _read(cycled_pack(DAYS))
    assert plateau.zero_v == pytest.approx(0.0, abs=2e-4)
    # It has no slow polarisation, so what was expected of it is taken back.
    assert plateau.slow_share == pytest.approx(0.0, abs=0.02)
    assert plateau.now_share == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("zero_v", [-0.006, 0.006])
def test_a_voltmeters_zero_is_found_but_for_what_the_curve_may_have_done(zero_v: float) -> None:
    # What all parts of the curve share is likelier the voltmeter's: two thirds or more.
    share = (_read(cycled_pack(DAYS, zero_v=zero_v)).zero_v or 0.0) / zero_v
    assert 0.65 < share < 0.9


def test_no_zero_is_believed_beyond_15_mv() -> None:
    assert _read(cycled_pack(DAYS, zero_v=0.03)).zero_v == LARGEST_ZERO_V
    assert _read(cycled_pack(DAYS, zero_v=-0.03)).zero_v == -LARGEST_ZERO_V


@pytest.mark.parametrize("share", [0.2, 0.6])
def test_slow_polarisation_is_measured(share: float) -> None:
    history = cycled_pack(DAYS, noise_v=0.005)
    slow_v = share * RESISTANCE_OHM * slow_mean(history.current_a, history.step_s)
    held = history.voltage_v > 3.45 * 16
    polarised = replace(history, voltage_v=history.voltage_v + np.where(held, 0, slow_v))
    plateau = _read(polarised)
    assert plateau.slow_share == pytest.approx(share, abs=0.06)
    assert plateau.zero_v == pytest.approx(0.0, abs=1e-3)


def test_an_assumed_resistance_is_set_right() -> None:
    history = cycled_pack(DAYS, noise_v=0.005, resistance_ohm=0.020)
    plateau = _read(history, assumed_resistance(200.0, 16))
    assert (1 + plateau.now_share) * 0.014 == pytest.approx(0.020, rel=0.08)


def test_without_gentle_discharge_nothing_is_read() -> None:
    plateau = _read(cycled_pack(DAYS), still=True)
    assert (plateau.zero_v, plateau.now_share, plateau.slow_share) == (None, 0.0, 0.3)


def test_little_depth_tells_the_upper_part_alone() -> None:
    # Down to 80 %: two bins are seen, and a smaller share of a zero is believed.
    shallow = _read(cycled_pack(DAYS, lowest=0.80, zero_v=0.006)).zero_v
    deep = _read(cycled_pack(DAYS, lowest=0.10, zero_v=0.006)).zero_v
    assert shallow is not None
    assert deep is not None
    assert 0.001 < shallow < deep
