"""Silence and gaps."""

import pytest

from joulebook.core.checks.hearing import gaps, heard
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.history import Instants
from tests.helpers.checked_sites import DAY_MS, START_MS, Flags, sound_site

HOUR_MS = 3_600_000


def _silent(from_ms: int, to_ms: int, device: str = "pv") -> CheckInputs:
    def keep(name: str, at_ms: Instants) -> Flags:
        return (at_ms < from_ms) | (at_ms >= to_ms) | (name != device)

    return sound_site().inputs(keep=keep)


def test_a_device_that_was_just_heard_is_good() -> None:
    finding = heard(sound_site().inputs(), "battery")
    assert finding.verdict == "good"
    assert finding.evidence == {"ago_s": 60.0, "usual_spacing_s": 60.0}
    assert finding.sentence == "battery was last heard from 1 min ago"


def test_a_device_that_fell_silent_is_trouble() -> None:
    inputs = _silent(START_MS + 3 * DAY_MS - 3 * HOUR_MS, START_MS + 3 * DAY_MS)
    finding = heard(inputs, "pv")
    assert finding.verdict == "trouble"
    assert finding.sentence == "pv was last heard from 3 h 1 min ago"
    assert finding.look_at is not None
    assert finding.caution is not None


@pytest.mark.parametrize("device", ["pv", "heater"])
def test_a_device_that_was_never_heard_is_trouble(device: str) -> None:
    inputs = _silent(0, START_MS + 9 * DAY_MS)
    finding = heard(inputs, device)
    assert finding.verdict == "trouble"
    assert finding.sentence == f"{device} was not heard from in the last 3 days"
    assert finding.coverage_ratio == 0.0
    assert gaps(inputs, device).verdict == "unclear"


def test_a_single_reading_has_no_spacing() -> None:
    inputs = _silent(START_MS + 60_000, START_MS + 9 * DAY_MS)
    assert heard(inputs, "pv").evidence["usual_spacing_s"] == 0.0


def test_gaps_are_told_with_their_longest() -> None:
    # By hand: 6 of 72 hours, less the minute that each silence would have had anyway.
    inputs = _silent(START_MS + DAY_MS, START_MS + DAY_MS + 6 * HOUR_MS)
    finding = gaps(inputs, "pv")
    assert finding.verdict == "trouble"
    assert finding.evidence["heard_ratio"] == pytest.approx(1 - (6 * 60 + 1) / (72 * 60))
    assert finding.sentence.endswith("the longest of 1 silences lasted 6 h 1 min")
    assert gaps(inputs, "grid").verdict == "good"
