"""By hand."""

import numpy as np

from joulebook.core.below_zero import impossible, is_turned_around


def test_what_a_clamp_at_rest_may_read_is_possible() -> None:
    power_w = np.array([-25.1, -25.0, 0.0, 900.0, np.nan])
    assert impossible(power_w).tolist() == [True, False, False, False, False]


def test_more_below_zero_than_above_is_a_clamp_the_wrong_way_round() -> None:
    assert is_turned_around(np.array([4.0, np.nan, -300.0, -900.0]))
    assert is_turned_around(np.array([-480.0, -480.0]))


def test_some_dozen_watts_back_at_night_are_not() -> None:
    # 16 h of 40 W back against 8 h of 900 W.
    assert not is_turned_around(np.repeat([-40.0, 900.0], [16, 8]))
    assert not is_turned_around(np.array([-25.0, -25.0]))
    assert not is_turned_around(np.array([np.nan, 0.0]))
    assert not is_turned_around(np.empty(0))
