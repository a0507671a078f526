"""Readings that cannot be."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.checks.limits import limits
from joulebook.core.history import Floats
from tests.helpers.checked_sites import sound_site

Change = Callable[[Floats], Floats]


def _sometimes(reads: float) -> Change:
    """Return what replaces one reading in fifty."""
    return lambda value: np.where(np.arange(value.size) % 50 == 7, reads, value)


@pytest.mark.parametrize("device", ["battery", "inverter", "pv", "grid", "load"])
@pytest.mark.parametrize("rated", [True, False])
def test_a_sound_site_is_within_limits(device: str, rated: bool) -> None:
    assert limits(sound_site().inputs(rated=rated), device).verdict == "good"


@pytest.mark.parametrize(
    ("device", "quantity", "reads", "words"),
    [
        ("battery", "current", -600.0, "more than 2 times the rated charge in an hour"),
        ("battery", "power", 13_000.0, "more than 2 times what the inverter is rated for"),
        ("battery", "voltage", 5.2, "out of the range of 16 cells in series"),
        ("battery", "soc", 61.0, "which is no share of a whole"),
        ("battery", "temperature", 250.0, "which is no temperature of a house"),
        ("inverter", "dc_voltage", 520.0, "out of the range of 16 cells in series"),
        ("load", "power", -300.0, "which this power cannot be"),
        ("pv", "power", -150.0, "which this power cannot be"),
        ("grid", "frequency", 0.06, "which is no frequency of a grid"),
    ],
)
def test_what_cannot_be_is_told(device: str, quantity: str, reads: float, words: str) -> None:
    site = sound_site().changed(device, **{quantity: _sometimes(reads)})
    finding = limits(site.inputs(), device)
    assert finding.verdict == "trouble"
    assert finding.sentence == (
        f"{quantity} of {device} reads {reads:g}, {words}; so do 2.0% of its readings"
    )
    assert finding.evidence[f"{quantity}_beyond_ratio"] == pytest.approx(0.02, abs=1e-3)


def test_a_disturbance_on_the_wire_is_not_trouble() -> None:
    site = sound_site().changed(
        "load", power=lambda value: np.where(np.arange(value.size) == 7, 65_535.0, value)
    )
    assert limits(site.inputs(), "load").verdict == "good"


def test_the_rating_of_cells_and_charge_stands_in_for_the_inverters() -> None:
    site = sound_site().changed("battery", power=_sometimes(30_000.0))
    finding = limits(replace(site.inputs(), inverter_w=None), "battery")
    assert "more than 2 times the rated charge" in finding.sentence
    only_charge = replace(site.inputs(), inverter_w=None, battery_cells=None)
    assert limits(only_charge, "battery").verdict == "good"


def test_a_device_without_limits_tells_nothing() -> None:
    assert limits(sound_site().without("pv.power").inputs(), "pv").verdict == "unclear"
    assert limits(sound_site().inputs(), "heater").verdict == "unclear"
