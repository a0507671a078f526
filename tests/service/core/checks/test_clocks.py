"""Clocks by receipt and by the sun."""

import numpy as np
import pytest

from joulebook.core.checks.clocks import clock, noon
from tests.helpers.checked_sites import sound_site


@pytest.mark.parametrize(
    ("lag_s", "verdict", "sentence"),
    [
        (0.4, "good", "readings of battery arrive 0.4 s after they were read, at the quickest"),
        (-1.0, "good", "readings of battery arrive 1.0 s before they were read, at the quickest"),
        (
            -30.0,
            "trouble",
            "readings of battery arrive 30.0 s before they were read, at the quickest",
        ),
        (
            300.0,
            "trouble",
            "readings of battery arrive 300.0 s after they were read, at the quickest",
        ),
    ],
)
def test_the_quickest_messages_tell_the_clocks_error(
    lag_s: float, verdict: str, sentence: str
) -> None:
    # Half of them come from a spool that catches up after an outage.
    lags = np.concatenate([np.full(50, lag_s), np.linspace(lag_s, 7200, 50)])
    finding = clock(sound_site().inputs(lags_s={"battery": lags}), "battery")
    assert (finding.verdict, finding.sentence) == (verdict, sentence)
    assert (finding.look_at is None) == (verdict == "good")


def test_without_times_of_receipt_nothing_is_told() -> None:
    assert clock(sound_site().inputs(), "battery").verdict == "unclear"


# The panels of the sound site shine from 6.2 to 19.8 o'clock: their middle is 13.
def test_the_middle_of_the_sun_is_the_middle_of_the_day() -> None:
    finding = noon(sound_site().inputs())
    assert finding.verdict == "good"
    assert finding.evidence["middle_h"] == pytest.approx(13.0, abs=0.15)
    assert finding.sentence.startswith("the middle of the day's solar energy falls at 13:0")


@pytest.mark.parametrize(("hours", "verdict"), [(2, "unclear"), (-5, "trouble"), (6, "trouble")])
def test_a_clock_that_is_hours_off_is_told_by_the_sun(hours: int, verdict: str) -> None:
    site = sound_site().changed("pv", power=lambda pv: np.roll(pv, hours * 60))
    finding = noon(site.inputs())
    assert finding.verdict == verdict
    assert finding.look_at is not None


def test_without_panels_or_sun_nothing_is_told() -> None:
    assert noon(sound_site().without("pv").inputs()).verdict == "unclear"
    dark = sound_site().changed("pv", power=lambda pv: pv * 0.001)
    assert noon(dark.inputs()).sentence.startswith("no day was sunny")
    seldom = sound_site().inputs(keep=lambda _, at_ms: at_ms % 86_400_000 < 40_000_000)
    assert noon(seldom).verdict == "unclear"
