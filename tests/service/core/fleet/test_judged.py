from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.fleet.judged import DISCOVERY_RATE, Judged, judge
from tests.helpers.fleets import Fleet, fleet


def judged(homes: Fleet) -> Judged:
    return judge(
        homes.lives,
        capacity=homes.capacity,
        capacity_u=homes.capacity_u,
        fade=homes.fade,
        fade_u=homes.fade_u,
    )


def named(found: Judged) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.flatnonzero(found.low_capacity | found.fast_fade)


def test_where_nobody_is_worse_hardly_any_run_names_anybody() -> None:
    runs = 200
    wrong = sum(named(judged(fleet(np.random.default_rng(n), 90))).size > 0 for n in range(runs))
    # Where no finding is true, the rate is the chance to name anybody at all (Benjamini and
    # Hochberg 1995, section 2.1); three standard deviations of so many runs on top.
    q = DISCOVERY_RATE
    assert wrong / runs <= q + 3 * np.sqrt(q * (1 - q) / runs)


def test_of_those_named_no_more_than_the_rate_are_named_for_nothing() -> None:
    runs, shares, found = 60, [], 0
    for number in range(runs):
        homes = fleet(np.random.default_rng(1000 + number), 150, worse=12)
        names = named(judged(homes))
        shares.append(1 - np.isin(names, homes.worse).mean() if names.size else 0.0)
        found += np.isin(homes.worse, names).sum()
    error = float(np.std(shares)) / np.sqrt(runs)
    assert np.mean(shares) <= DISCOVERY_RATE + 3 * error
    assert found / (12 * runs) > 0.9  # and most of those that are worse are found


def test_a_fleet_of_many_climates_uses_and_ages_names_those_that_are_worse() -> None:
    rng = np.random.default_rng(3)
    homes = fleet(rng, 1500, worse=20, warmth_c=4.0, cycles=60.0, years=(1.0, 6.0))
    found = judged(homes)
    # Counted over this fleet: 19 of 20 in its midst are named, and nobody else.
    assert set(named(found)) <= set(homes.worse)
    assert named(found).size >= 15
    assert np.isnan(found.rate[found.capacity.why != 0]).any()


def test_it_says_for_which_number_a_home_is_named() -> None:
    homes = fleet(np.random.default_rng(5), 120)
    homes.capacity[0] -= 0.3
    homes.fade[1] += 0.2
    found = judged(homes)
    assert (found.low_capacity[0], found.fast_fade[0]) == (True, False)
    assert (found.low_capacity[1], found.fast_fade[1]) == (False, True)
    assert found.rate[0] < 0.001 < np.median(found.rate)


def test_a_number_that_is_not_given_is_no_look() -> None:
    homes = fleet(np.random.default_rng(7), 120, worse=1)
    [own] = homes.worse
    both = judged(homes).rate[own]
    nothing = np.full(120, np.nan)
    alone = judged(replace(homes, fade=nothing)).rate
    assert np.count_nonzero(np.isfinite(alone)) > 110
    assert alone[own] < 0.05
    assert both < 0.05
    none = judged(replace(homes, fade=nothing, capacity=nothing))
    assert np.isnan(none.rate).all()
    assert named(none).size == 0


def test_the_rate_is_one_in_twenty() -> None:
    assert pytest.approx(1 / 20) == DISCOVERY_RATE
