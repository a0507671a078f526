"""How long readings stand, by hand."""

import numpy as np
import pytest

from joulebook.core.held import amounts, held
from tests.helpers.pack_records import MINUTE_MS


def test_steps_lost_readings_and_breaks() -> None:
    # Minutes 0, 1, 4 (two lost) and 60 (a break of 56 minutes).
    stands = held(np.array([0, 1, 4, 60]) * MINUTE_MS, step_s=60.0)
    assert (stands.hours * 60).tolist() == pytest.approx([1, 3, 1, 1])
    assert stands.sloped.tolist() == [False, True, False, False]
    assert stands.broken.tolist() == [False, False, True, False]
    assert (stands.lost_h * 60).tolist() == pytest.approx([0, 0, 55, 0])


def test_amounts_by_hand() -> None:
    # 60 A for a minute is 1 Ah; 30 A for one minute and (30 + 12) / 2 A for two are 0.5 + 0.7;
    # 12 A for the minute before the break and 6 A for the last are 0.2 and 0.1.
    stands = held(np.array([0, 1, 4, 60]) * MINUTE_MS, step_s=60.0)
    assert amounts(np.array([60.0, 30.0, 12.0, 6.0]), stands).tolist() == pytest.approx(
        [1.0, 1.2, 0.2, 0.1]
    )


@pytest.mark.parametrize(
    ("step_s", "gap_s", "broken"),
    [(60.0, 600.0, False), (60.0, 601.0, True), (300.0, 750.0, False), (300.0, 751.0, True)],
)
def test_ten_minutes_or_two_and_a_half_steps_are_no_break(
    step_s: float, gap_s: float, broken: bool
) -> None:
    stands = held(np.array([0, round(gap_s * 1000)]), step_s=step_s)
    assert bool(stands.broken[0]) is broken


def test_a_record_of_nothing() -> None:
    stands = held(np.empty(0, np.int64), step_s=60.0)
    assert stands.hours.size == 0
    assert amounts(np.empty(0), stands).size == 0


@pytest.mark.parametrize("step_s", [0.0, -60.0, float("nan")])
def test_a_step_is_above_zero(step_s: float) -> None:
    with pytest.raises(ValueError, match="usual spacing"):
        held(np.zeros(1, np.int64), step_s=step_s)
