"""Two legs and their neutral; CV-143: 240 V are 120.1 V and 120.0 V (common practice)."""

import numpy as np
import pytest

from joulebook.core.checks.legs import legs, neutral
from joulebook.core.history import Floats
from tests.helpers.checked_sites import sound_site


def test_two_live_legs_are_good() -> None:
    finding = legs(sound_site().inputs(), "load")
    assert finding.verdict == "good"
    assert finding.sentence == "both legs of load are live; the larger carries 63% of the load"


def test_a_dead_leg_is_told() -> None:
    site = sound_site().changed("load", power_l2=lambda value: value * 0.0)
    finding = legs(site.inputs(), "load")
    assert (finding.verdict, "leg L2 of load" in finding.sentence) == ("trouble", True)
    assert finding.caution is not None


def test_an_uneven_load_is_told() -> None:
    site = sound_site().changed("load", power_l2=lambda value: value * 0.2)
    finding = legs(site.inputs(), "load")
    assert finding.verdict == "trouble"
    assert finding.evidence["larger_leg_ratio"] == pytest.approx(0.896, abs=5e-3)


def test_no_load_and_no_legs_tell_nothing() -> None:
    off = sound_site().changed(
        "load", power_l1=lambda value: value * 0.0, power_l2=lambda value: value * 0.0
    )
    assert "nothing on either leg" in legs(off.inputs(), "load").sentence
    assert legs(sound_site().without("load.power_l2").inputs(), "load").verdict == "unclear"


def test_a_sound_neutral_keeps_the_legs_together() -> None:
    finding = neutral(sound_site().inputs(), "grid")
    assert finding.verdict == "good"
    assert finding.evidence["largest_difference_v"] < 1.0


def test_a_lost_neutral_is_told() -> None:
    # A tenth of the time the loads of both legs stand in series: one up, the other down by 25 V.
    away = np.arange(3 * 1440) % 10 == 0
    site = sound_site().changed(
        "grid",
        voltage_l1=lambda value: value + 25 * away,
        voltage_l2=lambda value: value - 25 * away,
    )
    finding = neutral(site.inputs(), "grid")
    assert finding.verdict == "trouble"
    assert "one up and the other down" in finding.sentence
    assert finding.evidence["parted_ratio"] == pytest.approx(0.1, abs=1e-3)
    assert finding.caution is not None
    assert "licensed electrician" in finding.caution


def test_a_neutral_that_begins_to_loosen_is_told() -> None:
    # The legs part by a few volts with the load between them, and never by ten.
    sway = 4 * np.sin(np.arange(3 * 1440) / 50)
    site = sound_site().changed(
        "grid", voltage_l1=lambda value: value + sway, voltage_l2=lambda value: value - sway
    )
    finding = neutral(site.inputs(), "grid")
    assert finding.verdict == "trouble"
    assert finding.evidence["parted_ratio"] == 0.0


def test_a_sagging_grid_is_no_neutral_trouble() -> None:
    def sag(value: Floats) -> Floats:
        return value - 9 * (np.arange(value.size) % 30 < 5)

    site = sound_site().changed("grid", voltage_l1=sag, voltage_l2=sag)
    assert neutral(site.inputs(), "grid").verdict == "good"


def test_a_single_leg_or_a_dead_grid_tells_nothing() -> None:
    one = sound_site().changed("grid", voltage_l2=lambda value: value * 0.0)
    assert neutral(one.inputs(), "grid").verdict == "unclear"
    steady = sound_site().changed("grid", voltage_l1=lambda value: value * 0.0 + 120)
    assert neutral(steady.inputs(), "grid").evidence["correlation_ratio"] == 0.0
