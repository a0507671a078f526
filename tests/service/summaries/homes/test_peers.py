import numpy as np

from joulebook.summaries.homes.numbers import Measured, Numbers
from joulebook.summaries.homes.peers import Beside, peers_of
from tests.helpers.told_homes import numbers


def fleet(homes: int) -> dict[int, Numbers]:
    """Return homes of like lives, ids from 10 on, that hold 0.91 to 0.95."""
    rng = np.random.default_rng(4)
    values = 0.93 + 0.01 * rng.normal(size=homes)
    return {
        10 + place: numbers(capacity=Measured(value=value, low=value - 0.02, high=value + 0.02))
        for place, value in enumerate(values.tolist())
    }


def test_a_home_that_holds_much_less_is_named_and_no_other() -> None:
    homes = fleet(60)
    homes[10] = numbers(capacity=Measured(value=0.7, low=0.68, high=0.72))
    found = peers_of(homes)
    assert [site_id for site_id, each in found.items() if each.capacity.named] == [10]
    assert not any(each.fade.named for each in found.values())
    own = found[10].capacity
    assert own.peers == 59
    assert own.middle is not None
    assert own.apart is not None
    assert abs(own.middle - 0.93) < 0.01
    assert abs(own.apart + 0.23) < 0.01
    assert own.low is not None
    assert own.low < own.middle
    assert own.middle == round(own.middle, 3)
    assert found[10].rate is not None
    assert found[10].rate < 0.001
    assert found[10].method == "peers-1"


def test_where_only_an_interval_is_given_nothing_is_compared() -> None:
    homes = fleet(20)
    early = Measured(low=0.0, high=0.04, reason="too early")
    homes[10] = numbers(fade=early, capacity=Measured(reason="never low"))
    found = peers_of(homes)[10]
    assert found.capacity == Beside(peers=0, reason="the number itself is not given")
    assert found.fade == found.capacity
    assert found.rate is None


def test_too_few_homes_are_not_compared() -> None:
    found = peers_of(fleet(12))
    reason = "fewer than 12 homes are like it in heat, use and age"
    assert {each.capacity.reason for each in found.values()} == {reason}
    assert peers_of({}) == {}


def test_the_difference_carries_its_interval() -> None:
    given = peers_of(fleet(13))[10].capacity
    ends = (given.apart_low, given.apart, given.apart_high)
    assert all(each is not None for each in ends)
    assert sorted(ends, key=float) == list(ends)  # type: ignore[arg-type]
    assert given.apart_low != given.apart_high
