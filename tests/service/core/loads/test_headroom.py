"""What a rating leaves above a load: differences, by hand."""

from joulebook.core.estimate import Estimate, refused
from joulebook.core.loads.headroom import headroom

PEAK = Estimate(value=1480.0, low=1470.0, coverage_ratio=1.0, method="loads-1")


def test_a_peak_that_is_open_above_leaves_room_that_is_open_below() -> None:
    found = headroom(PEAK, 6500.0)
    assert (found.value, found.low, found.high) == (5020.0, None, 5030.0)


def test_a_leg_has_half_of_the_rating() -> None:
    # Common practice, no source: a 240 V split phase is twice 120 V (CV-143).
    assert headroom(PEAK, 6500.0, leg=True).value == 1770.0


def test_a_load_known_both_ways_leaves_room_known_both_ways() -> None:
    whole = Estimate(value=1480.0, low=1470.0, high=1490.0, coverage_ratio=1.0, method="loads-1")
    found = headroom(whole, 1000.0)
    assert (found.low, found.value, found.high) == (-490.0, -480.0, -470.0)
    bare = Estimate(value=1480.0, coverage_ratio=1.0, method="loads-1")
    assert headroom(bare, 6500.0).high is None


def test_it_says_what_is_missing() -> None:
    assert headroom(PEAK, None).reason == "what the inverter is rated for was not entered"
    unknown = refused("nothing was read after it", method="loads-1")
    assert headroom(unknown, 6500.0).reason == "nothing was read after it"
