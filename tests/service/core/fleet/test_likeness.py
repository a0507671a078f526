import numpy as np
import pytest

from joulebook.core.fleet.likeness import FEWEST_PEERS, MOST_PEERS, Lives, nearest
from joulebook.core.history import Floats


def brute(places: Floats) -> list[set[int]]:
    """Return the peers of every home as a slow loop finds them."""
    found = []
    for own, place in enumerate(places):
        apart = np.abs(places - place)
        like = [n for n in np.flatnonzero((apart <= 1).all(axis=1)).tolist() if n != own]
        found.append(set(sorted(like, key=lambda n: float(np.sum(apart[n] ** 2)))[:MOST_PEERS]))
    return found


@pytest.mark.parametrize("homes", [1, 5, 61, 400])
def test_it_finds_what_a_slow_loop_finds(homes: int) -> None:
    places = np.random.default_rng(homes).normal(0, 1.2, (homes, 3))
    peers, count = nearest(places, np.arange(homes))
    for own, expected in enumerate(brute(places)):
        assert set(peers[own][: count[own]].tolist()) == expected
        assert (peers[own][count[own] :] == -1).all()


def test_peers_are_rows_of_those_that_can_be_compared() -> None:
    places = np.array([[0.0, 0, 0], [np.nan, 0, 0], [0.5, 0, 0], [9.0, 0, 0]])
    peers, count = nearest(places, np.array([0, 2, 3]))
    assert count.tolist() == [1, 1, 0]
    assert peers[:2, 0].tolist() == [1, 0]  # the third home is the second of those


def test_one_apart_is_four_degrees_fifty_cycles_or_a_year() -> None:
    # By hand: exp(0.055 · 4) = 1.246 times the thermal age.
    lives = Lives(
        heat=np.array([1.0, np.exp(0.22), 0.0, np.nan]),
        cycles=np.array([200.0, 250.0, 200.0, 200.0]),
        age_years=np.array([3.0, 4.0, 3.0, 3.0]),
    )
    places = lives.places()
    np.testing.assert_allclose(places[1] - places[0], 1.0)
    assert np.isnan(places[2:, 0]).all()  # a battery that did not age was not measured
    assert FEWEST_PEERS < MOST_PEERS
