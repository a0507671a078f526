import pytest

from joulebook.bench.rounds import Spread, by_turns


def test_each_round_asks_everybody_once_and_another_begins() -> None:
    asked: list[tuple[str, int]] = []
    ticks = iter(range(100))
    calls = {
        name: lambda number, name=name: asked.append((name, number)) for name in ("a", "b", "c")
    }
    took = by_turns(calls, 3, first=1, clock_s=lambda: float(next(ticks)))
    assert [name for name, _ in asked] == ["b", "c", "a", "c", "a", "b", "a", "b", "c"]
    assert [number for _, number in asked] == [1, 1, 1, 2, 2, 2, 3, 3, 3]
    assert took == {"a": [1.0] * 3, "b": [1.0] * 3, "c": [1.0] * 3}


def test_calls_that_are_repeated_count_with_their_mean() -> None:
    ticks = iter([0.0, 6.0])
    took = by_turns({"a": lambda _: None}, 1, repeats=3, clock_s=lambda: next(ticks))
    assert took == {"a": [2.0]}


def test_the_spread_is_the_median_and_the_quartiles() -> None:
    # R's default (type 7 of Hyndman and Fan 1996): of 1, 2, 3, 4 they are 1.75, 2.5, 3.25.
    assert Spread.of([4, 1, 3, 2]) == Spread(2.5, 1.75, 3.25, 4)
    assert Spread.of([5.0]) == Spread(5.0, 5.0, 5.0, 1)
    with pytest.raises(IndexError):
        Spread.of([])
