import numpy as np
import pytest

from joulebook.core.fleet.likeness import FEWEST_PEERS, MOST_PEERS, Lives
from joulebook.core.fleet.peers import FEW_PEERS, NO_LIFE, NO_NUMBER, WHY, compare
from tests.helpers.fleets import fleet


def alike(homes: int) -> Lives:
    return Lives(heat=np.ones(homes), cycles=np.full(homes, 200.0), age_years=np.full(homes, 3.0))


def test_among_homes_alike_it_is_the_median_of_the_others() -> None:
    # By hand: the others of the first are 0.91 to 1.11 in steps of 0.01, whose median is 1.01.
    value = np.concatenate([[0.80], np.linspace(0.91, 1.11, 21)])
    found = compare(alike(22), value, np.full(22, 0.01), worse="below")
    assert found.count.tolist() == [21] * 22
    assert found.middle[0] == pytest.approx(1.01)
    assert found.apart[0] == pytest.approx(-0.21)
    # The deviations from 1.01 have a median of 0.05: over 0.6745 a spread of 0.0741, of which the
    # median is sure to 1.2533 · 0.0741 / √21 = 0.0203; with its own 0.01 together 0.0226.
    assert found.apart_high[0] - found.apart[0] == pytest.approx(1.645 * 0.0226, rel=2e-3)
    # All 22 are 0.01, 0.01, 0.02, 0.02 … 0.10, 0.10, 0.11 and 0.21 from their medians, in the midst
    # 0.06: over 0.6745 that is 0.0890, of which √(0.0890² - 0.0226²) = 0.0860 is not uncertainty.
    # It is more than among the first home's own peers, √(0.0741² - 0.01²) = 0.0735, so it counts.
    assert found.high[0] - found.middle[0] == pytest.approx(
        1.645 * np.hypot(0.0860, 0.0203), rel=2e-3
    )
    assert found.p[0] < 0.06 < found.p[1:].min()


def test_the_spread_of_all_homes_counts_where_its_own_peers_are_closer() -> None:
    # Two climates that are not alike: in the first all hold the same, in the second they differ.
    heat = np.repeat([0.5, 2.0], 30)
    lives = Lives(heat=heat, cycles=np.full(60, 200.0), age_years=np.full(60, 3.0))
    value = np.concatenate([np.full(30, 1.0), 1.0 + 0.1 * np.tile([-1.0, 1.0], 15)])
    found = compare(lives, value, np.full(60, 1e-6), worse="below")
    assert found.high[0] - found.middle[0] > 0.0001
    assert found.high[-1] - found.middle[-1] > 0.1


def test_what_heat_use_and_age_explain_is_no_difference() -> None:
    rng = np.random.default_rng(1)
    lives = fleet(rng, 300).lives
    value = 1.0 - 0.02 * lives.age_years - 1e-4 * lives.cycles - 0.01 * np.log(lives.heat)
    found = compare(lives, value, np.full(300, 1e-4), worse="below")
    there = found.why == 0
    assert np.count_nonzero(there) > 250
    # Uncorrected, half a year of age alone would be 0.01.
    assert np.max(np.abs(found.apart[there])) < 0.0015


def test_worse_is_below_for_a_capacity_and_above_for_a_fade() -> None:
    value = np.concatenate([[0.6], 1.0 + 0.01 * np.sin(np.arange(40.0))])
    p = [
        compare(alike(41), value, np.full(41, 0.01), worse=side).p[0] for side in ("below", "above")
    ]
    assert p[0] < 1e-6
    assert p[1] == pytest.approx(1 - p[0])


def test_it_says_why_there_is_no_comparison() -> None:
    lives = alike(FEWEST_PEERS + 3)
    lives.heat[1] = np.nan
    lives.age_years[2] = 30.0
    value = np.full(FEWEST_PEERS + 3, 0.9)
    value[0] = np.nan
    found = compare(lives, value, np.full(value.size, 0.01), worse="below")
    # Of those left each has one peer too few.
    assert found.why.tolist() == [NO_NUMBER, NO_LIFE, *[FEW_PEERS] * (FEWEST_PEERS + 1)]
    assert found.count.tolist() == [0, 0, 0, *[FEWEST_PEERS - 1] * FEWEST_PEERS]
    assert np.isnan(found.p).all()
    assert set(WHY) == {NO_NUMBER, NO_LIFE, FEW_PEERS}


def test_twelve_peers_are_enough_and_no_more_than_sixty_are_asked() -> None:
    value = np.linspace(0.9, 1.0, FEWEST_PEERS + 1)
    few = compare(alike(value.size), value, np.full(value.size, 0.01), worse="below")
    assert (few.why == 0).all()
    many = compare(alike(200), np.linspace(0.9, 1.0, 200), np.full(200, 0.01), worse="below")
    assert (many.count == MOST_PEERS).all()


def test_homes_that_all_hold_the_same_are_no_worse_than_each_other() -> None:
    found = compare(alike(30), np.full(30, 0.95), np.zeros(30), worse="below")
    assert found.p == pytest.approx(0.5)
    assert found.apart == pytest.approx(0.0)
