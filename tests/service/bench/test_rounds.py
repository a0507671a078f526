from itertools import pairwise, permutations

import pytest

from joulebook.bench.rounds import Spread, by_turns


def test_each_round_asks_everybody_once_in_another_order() -> None:
    asked: list[tuple[str, int]] = []
    ticks = iter(range(100))
    calls = {
        name: lambda number, name=name: asked.append((name, number)) for name in ("a", "b", "c")
    }
    took = by_turns(calls, 12, first=1, clock_s=lambda: float(next(ticks)))
    assert [number for _, number in asked] == [round_ for round_ in range(1, 13) for _ in "abc"]
    rounds = [[name for name, _ in asked[first : first + 3]] for first in range(0, 36, 3)]
    assert all(sorted(names) == ["a", "b", "c"] for names in rounds)
    # Everybody comes after everybody else, and each is the first sometimes.
    assert {pair for names in rounds for pair in pairwise(names)} == set(permutations("abc", 2))
    assert {names[0] for names in rounds} == {"a", "b", "c"}
    assert took == {"a": [1.0] * 12, "b": [1.0] * 12, "c": [1.0] * 12}


def test_calls_that_are_repeated_count_with_their_mean() -> None:
    ticks = iter([0.0, 6.0])
    asked: list[int] = []
    took = by_turns({"a": asked.append}, 1, first=2, repeats=3, clock_s=lambda: next(ticks))
    assert took == {"a": [2.0]}
    assert asked == [6, 7, 8]


def test_the_spread_is_the_median_and_the_quartiles() -> None:
    # R's default (type 7 of Hyndman and Fan 1996): of 1, 2, 3, 4 they are 1.75, 2.5, 3.25.
    assert Spread.of([4, 1, 3, 2]) == Spread(2.5, 1.75, 3.25, 4)
    assert Spread.of([5.0]) == Spread(5.0, 5.0, 5.0, 1)
    with pytest.raises(IndexError):
        Spread.of([])
