"""All checks together."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.checks.inputs import spoken
from joulebook.core.checks.run import run_checks
from tests.helpers.checked_sites import sound_site


def test_nothing_is_wrong_with_a_sound_site() -> None:
    lags = {device: np.full(9, 0.3) for device in sound_site().devices}
    found = run_checks(sound_site().inputs(lags_s=lags))
    assert {finding.verdict for finding in found} == {"good"}
    assert {finding.name for finding in found} == {
        "heard", "gaps", "clock", "stuck", "limits", "noon", "sign", "scale", "product",
        "counter", "current sign", "lugs", "legs", "neutral",
    }  # fmt: skip
    assert {finding.method for finding in found} == {"checks-2"}
    assert all(0 <= finding.coverage_ratio <= 1 for finding in found)
    units = ("_w", "_wh", "_v", "_a", "_s", "_h", "_ratio", "_count", "_mohm")
    assert all(name.endswith(units) for finding in found for name in finding.evidence)


def test_every_trouble_says_what_to_look_at() -> None:
    site = sound_site().changed("battery", power=lambda power: -power)
    trouble = [each for each in run_checks(site.inputs()) if each.verdict == "trouble"]
    assert {each.name for each in trouble} == {"sign", "product", "counter"}
    assert all(each.look_at for each in trouble)


def test_a_small_site_is_asked_for_what_it_has() -> None:
    site = sound_site().without("pv", "grid", "load", "inverter", "battery.power")
    found = run_checks(site.inputs(rated=False))
    assert {each.device for each in found if each.device} == {"battery"}
    assert {each.name for each in found if each.verdict == "trouble"} == set()


def test_a_site_without_legs_or_leg_voltages_is_not_asked_for_them() -> None:
    site = sound_site().without("load.power_l1", "grid.voltage_l2")
    assert {"legs", "neutral"}.isdisjoint(each.name for each in run_checks(site.inputs()))


def test_a_day_at_least() -> None:
    with pytest.raises(ValueError, match="one day"):
        replace(sound_site().inputs(), days=())


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(47.0, "47 s"), (60.0, "1 min"), (3725.0, "1 h 2 min"), (200_000.0, "2 d 8 h")],
)
def test_lengths_of_time_in_words(seconds: float, words: str) -> None:
    assert spoken(seconds) == words
