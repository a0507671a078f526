"""Watts against volts times amperes, and the sign of a current."""

import numpy as np
import pytest

from joulebook.core.checks.product import current_sign, product
from tests.helpers.checked_sites import sound_site


def test_a_sound_battery_agrees_with_itself() -> None:
    finding = product(sound_site().inputs(), "battery")
    assert finding.verdict == "good"
    assert finding.evidence["power_over_product_ratio"] == pytest.approx(1.0, abs=1e-3)


# CV-84: 18.5 A at 52.27 V are 966.995 W; a meter that shows the 900 W of the AC side is 7 % off.
@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (900 / 966.995, "0.931 times volts by amperes"),
        (-1.0, "opposite signs"),
        (0.001, "kilowatts"),
        (1000.0, "thousandths of a watt"),
    ],
)
def test_powers_that_disagree_are_told(factor: float, words: str) -> None:
    site = sound_site().changed("battery", power=lambda power: power * factor)
    finding = product(site.inputs(), "battery")
    assert finding.verdict == "trouble"
    assert words in finding.sentence
    assert finding.look_at is not None


def test_a_battery_at_rest_tells_nothing() -> None:
    idle = sound_site().changed("battery", current=lambda amps: amps * 0.0)
    assert product(idle.inputs(), "battery").verdict == "unclear"
    assert current_sign(idle.inputs(), "battery").verdict == "unclear"


# The pack of the sound site has 4 mΩ.
def test_a_voltage_that_rises_with_the_current_is_right() -> None:
    finding = current_sign(sound_site().inputs(), "battery")
    assert finding.verdict == "good"
    assert finding.evidence["resistance_mohm"] == pytest.approx(4.0, abs=0.1)


def test_a_current_turned_around_is_told_without_any_other_device() -> None:
    site = sound_site().changed("battery", current=lambda amps: -amps).without("pv", "grid", "load")
    finding = current_sign(site.inputs(), "battery")
    assert finding.verdict == "trouble"
    assert "positive while charging" in finding.sentence


def test_a_voltage_that_follows_nothing_tells_nothing() -> None:
    rng = np.random.default_rng(4)
    site = sound_site().changed("battery", voltage=lambda volts: rng.permutation(volts))
    assert current_sign(site.inputs(), "battery").verdict == "unclear"


def test_a_battery_without_voltage_tells_nothing() -> None:
    inputs = sound_site().without("battery.voltage").inputs()
    assert product(inputs, "battery").verdict == "unclear"
    assert product(inputs, "heater").verdict == "unclear"
