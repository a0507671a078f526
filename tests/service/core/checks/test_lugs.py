"""Resistance between battery and inverter. Two voltmeters 0.4 V apart at 100 A are 4 mΩ, 40 W."""

import numpy as np
import pytest

from joulebook.core.checks.finding import Finding
from joulebook.core.checks.lugs import lugs
from joulebook.core.history import Floats
from tests.helpers.checked_sites import LUG_OHM, CheckedSite, sound_site


def _lugs(site: CheckedSite) -> Finding:
    return lugs(site.inputs(), "battery", "inverter")


def _with(extra_ohm: float) -> CheckedSite:
    site = sound_site()
    amps = site.devices["battery"]["current"]
    return site.changed("inverter", dc_voltage=lambda volts: np.round(volts + extra_ohm * amps, 2))


def test_good_cables_are_found_through_voltmeters_that_disagree() -> None:
    finding = _lugs(sound_site())
    assert finding.verdict == "good"
    assert finding.evidence["resistance_mohm"] == pytest.approx(1000 * LUG_OHM, abs=0.05)
    assert finding.evidence["meters_differ_v"] == pytest.approx(0.05, abs=0.005)
    assert finding.evidence["low_mohm"] < 1000 * LUG_OHM < finding.evidence["high_mohm"]


def test_a_loose_lug_is_told_with_its_heat() -> None:
    finding = _lugs(_with(0.010))
    assert finding.verdict == "trouble"
    assert finding.evidence["resistance_mohm"] == pytest.approx(12.0, abs=0.1)
    amps = finding.evidence["busy_current_a"]
    assert finding.evidence["lost_w"] == pytest.approx(0.012 * amps**2, rel=0.02)
    assert finding.caution is not None
    assert "DC arc" in finding.caution


# CV-92: 0.1 V of resolution; here of volts, so that no resistance can be told.
def test_coarse_voltmeters_tell_nothing() -> None:
    rng = np.random.default_rng(8)

    def coarse(volts: Floats) -> Floats:
        return np.round(volts + np.repeat(rng.normal(0, 1.5, volts.size // 30), 30))

    finding = _lugs(sound_site().changed("inverter", dc_voltage=coarse))
    assert finding.verdict == "unclear"
    assert "too coarse" in finding.sentence


def test_a_resistance_below_nothing_is_not_believed() -> None:
    assert _lugs(_with(-0.006)).verdict == "unclear"


@pytest.mark.parametrize("missing", ["inverter.dc_voltage", "battery.current"])
def test_missing_quantities_tell_nothing(missing: str) -> None:
    assert _lugs(sound_site().without(missing)).verdict == "unclear"


def test_a_steady_battery_tells_nothing() -> None:
    site = sound_site().changed("battery", current=lambda amps: amps * 0.0 + 10)
    assert "different steady currents" in _lugs(site).sentence
