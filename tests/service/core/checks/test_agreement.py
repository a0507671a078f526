"""Counters against the integrals of powers."""

import numpy as np
import pytest

from joulebook.core.checks.agreement import agreement
from joulebook.core.checks.finding import Finding
from joulebook.core.history import Floats
from tests.helpers.checked_sites import CheckedSite, sound_site


def _found(site: CheckedSite, device: str) -> list[Finding]:
    return agreement(site.inputs(), device, device)


@pytest.mark.parametrize(("device", "count"), [("battery", 2), ("pv", 1), ("load", 1), ("grid", 2)])
def test_sound_counters_agree(device: str, count: int) -> None:
    assert [each.verdict for each in _found(sound_site(), device)] == ["good"] * count


def test_a_counter_of_another_scale_is_told() -> None:
    site = sound_site().changed("pv", energy=lambda counted: 50_000 + (counted - 50_000) * 1.1)
    (finding,) = _found(site, "pv")
    assert finding.verdict == "trouble"
    assert finding.evidence["counted_wh"] == pytest.approx(
        1.1 * finding.evidence["measured_wh"], rel=0.01
    )


def _resting_grid(offset_w: float, sold_w: float, scale: float = 1.0) -> CheckedSite:
    """Return a site that sells in one hour a day; else its meter shows an offset, and counts none.

    By hand: three days of 3 h at ``sold_w``, 63 h at ``offset_w``.
    """
    minute = np.arange(3 * 1440)
    selling = minute % 1440 < 180
    power = np.where(selling, -sold_w, -offset_w)
    counted = np.cumsum(np.where(selling, sold_w, 0.0)) / 60 * scale
    return sound_site().changed("grid", power=lambda _: power, export_energy=lambda _: counted)


def test_a_meter_that_stands_still_near_nothing_is_no_trouble() -> None:
    # 63 h at 3 W are 189 Wh that the counter leaves out of 2.7 kWh: 7 %, and no fault.
    (_, sold) = _found(_resting_grid(3.0, 300.0), "grid")
    assert sold.verdict == "good"
    assert sold.evidence["measured_wh"] == pytest.approx(2700 + 189, rel=0.01)
    assert sold.evidence["counted_wh"] == pytest.approx(2700, rel=0.01)
    # Nearly a third too much is told beside it all the same, and so is a standstill at 30 W.
    assert _found(_resting_grid(3.0, 300.0, scale=1.3), "grid")[1].verdict == "trouble"
    assert _found(_resting_grid(30.0, 300.0), "grid")[1].verdict == "trouble"


def test_what_is_only_an_offset_is_too_little_to_compare() -> None:
    # 63 h at 9 W are 567 Wh, and 9 h at 20 W are 180: the counter's share of that says nothing.
    (_, sold) = _found(_resting_grid(9.0, 20.0), "grid")
    assert (sold.verdict, "too little" in sold.sentence) == ("unclear", True)


def test_a_power_turned_around_against_its_counters_is_told() -> None:
    site = sound_site().changed("battery", power=lambda power: -power)
    found = _found(site, "battery")
    assert [finding.verdict for finding in found] == ["trouble", "trouble"]
    assert "power or counters are turned around" in found[0].sentence


def test_a_counter_that_began_anew_is_not_compared() -> None:
    def anew(counted: Floats) -> Floats:
        counted[2000:] -= counted[2000]
        return counted

    site = sound_site().changed("pv", energy=anew)
    (finding,) = _found(site, "pv")
    assert (finding.verdict, "began anew" in finding.sentence) == ("unclear", True)


def test_too_little_and_too_few_are_not_compared() -> None:
    still = sound_site().changed(
        "pv", energy=lambda counted: counted * 0 + 7, power=lambda power: power * 0
    )
    assert "too little went through pv" in _found(still, "pv")[0].sentence
    silent = sound_site().changed("pv", energy=lambda counted: counted * np.nan)
    assert "not read often enough" in _found(silent, "pv")[0].sentence


def test_what_was_counted_while_nobody_read_the_power_is_left_out() -> None:
    holes = sound_site().changed(
        "pv", power=lambda power: np.where(np.arange(power.size) % 1440 < 700, np.nan, power)
    )
    (finding,) = _found(holes, "pv")
    assert finding.verdict == "good"
    assert finding.coverage_ratio == pytest.approx(1 - 700 / 1440, abs=0.01)
    never = sound_site().changed(
        "pv", power=lambda power: np.where(np.arange(power.size) % 9 == 0, power, np.nan)
    )
    assert _found(never, "pv")[0].verdict == "unclear"


def test_both_ways_alike_are_not_taken_for_turned() -> None:
    # As much in as out, and a counter that shows a tenth too much: a scale, not a sign.
    wave = 1000 * np.sin(np.arange(3 * 1440) / 120)
    counted = np.cumsum(np.maximum(wave, 0)) / 60
    site = sound_site().changed(
        "battery",
        power=lambda _: wave,
        charge_energy=lambda _: counted * 1.1,
        discharge_energy=lambda _: counted,
    )
    assert "turned around" not in _found(site, "battery")[0].sentence


def test_a_counter_without_its_power_is_not_looked_at() -> None:
    assert _found(sound_site().without("pv.power"), "pv") == []
