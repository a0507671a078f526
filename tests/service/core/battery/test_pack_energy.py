"""Watt-hours against sums done by hand, and the two ways that must agree."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.balances import Balances
from joulebook.core.battery.capacity import CapacityPoint, capacity_statement
from joulebook.core.battery.capacity_fit import CapacityFit, fit_capacity
from joulebook.core.battery.pack_energy import PACK_ENERGY_DEFINITION, pack_energy
from joulebook.core.battery.rest_voltage import rest_voltage
from joulebook.core.estimate import refused
from tests.helpers.charge_balances import Truth, balances

OHM = 0.014
WARM = Truth(reserve=0.06, mean_c=27.0, season_c=0.0, slow=0.0)


@pytest.fixture(scope="module")
def known() -> Balances:
    """The way down at its own current, in steps of the curve below full."""
    plain = balances(WARM)
    low = plain.full_to_low
    wh = np.empty(low.low_ms.size)
    for row in range(wh.size):
        states = np.linspace(low.x_low[row], 0.999, 400)
        amps = max(-low.slow_a[row], low.drawn_ah[row] / low.hours[row])
        volts = 16 * (rest_voltage(states) - 0.008) - amps * OHM * 1.35
        wh[row] = low.drawn_ah[row] * float(np.mean(volts))
    return replace(plain, full_to_low=replace(low, drawn_wh=wh))


@pytest.fixture(scope="module")
def fit(known: Balances) -> CapacityFit:
    return fit_capacity(known)


@pytest.fixture(scope="module")
def latest(fit: CapacityFit) -> CapacityPoint:
    return capacity_statement(fit).latest


def test_both_ways_agree(known: Balances, fit: CapacityFit, latest: CapacityPoint) -> None:
    found = pack_energy(fit, latest, known, resistance_ohm=OHM)
    assert found.wh.value == found.by_curve_wh
    assert found.by_meter_wh == pytest.approx(found.by_curve_wh, rel=0.006)
    # By hand: 40 A cost 40·0.014·1.35 = 0.756 V, so the cut-off is 2.90 V·16 + 0.756 V =
    # 47.156 V at rest, 2.955 V a cell, 1.9 % full; from there to full in a thousand steps.
    assert latest.ah.value is not None
    states = np.linspace(0, 0.999, 100_001)
    volts = 16 * (rest_voltage(states) - 0.008) - 0.756
    above = states[volts >= 46.4]
    mean = float(np.mean(volts[volts >= 46.4]))
    assert found.by_curve_wh == pytest.approx(latest.ah.value * (0.999 - above[0]) * mean, rel=2e-3)
    assert "2.90 V a cell" in PACK_ENERGY_DEFINITION
    assert found.wh.method == "pack-energy-1"


def test_its_interval_is_wider_than_that_of_the_charge(
    known: Balances, fit: CapacityFit, latest: CapacityPoint
) -> None:
    found = pack_energy(fit, latest, known, resistance_ohm=OHM).wh
    assert found.value is not None
    assert found.low is not None
    assert latest.ah.value is not None
    assert latest.ah.low is not None
    charge = 1 - latest.ah.low / latest.ah.value
    assert 1 - found.low / found.value == pytest.approx(np.hypot(charge, 1.6449 * 0.005))


def test_a_voltmeter_that_is_wrong_is_found(
    known: Balances, fit: CapacityFit, latest: CapacityPoint
) -> None:
    low = known.full_to_low
    wrong = replace(known, full_to_low=replace(low, drawn_wh=low.drawn_wh * 1.04))
    found = pack_energy(fit, latest, wrong, resistance_ohm=OHM)
    assert found.wh.value is None
    assert found.wh.reason is not None
    assert "one of the sensors is wrong" in found.wh.reason
    assert found.by_meter_wh is not None
    assert found.by_curve_wh is not None


def test_it_needs_the_resistance_and_the_capacity(
    known: Balances, fit: CapacityFit, latest: CapacityPoint
) -> None:
    blind = pack_energy(fit, latest, known, resistance_ohm=None)
    assert blind.wh.reason is not None
    assert "resistance is not known" in blind.wh.reason
    none = replace(latest, ah=refused("too few", method="capacity-1", coverage_ratio=0.5))
    found = pack_energy(fit, none, known, resistance_ohm=OHM)
    assert (found.wh.reason, found.wh.coverage_ratio) == ("too few", 0.5)
    assert found.by_curve_wh is None
