"""Times by turns: every round asks each of them once, in another order."""

import random
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Spread:
    """The middle of what was measured, and the quartiles around it."""

    median: float
    low: float
    high: float
    samples: int

    @classmethod
    def of(cls, values: Sequence[float]) -> "Spread":
        """Return the spread of one or more values."""
        low, median, high = np.percentile(values, (25, 50, 75)).tolist()
        return cls(median, low, high, len(values))


def by_turns(
    asked: Mapping[str, Callable[[int], object]],
    rounds: int,
    *,
    first: int = 0,
    repeats: int = 1,
    clock_s: Callable[[], float] = time.perf_counter,
) -> dict[str, list[float]]:
    """Return how long each took in each round. [s]

    What slows the machine down for a while so meets all of them. The order is drawn anew each
    round (the same in every run), so that nobody always comes after the same one, whose data lie
    in the processor's cache and whose threads may still be on their way to sleep.

    Parameters
    ----------
    asked : mapping of name to callable
        Called with the number of the call, so that each may ask for something else.
    first : int
        The number of the first round, where others came before.
    repeats : int
        How often each is called in a turn; the mean counts. For calls so short that whatever
        ran before them decides.
    """
    names = list(asked)
    took_s: dict[str, list[float]] = {name: [] for name in names}
    for number in range(first, first + rounds):
        for name in random.Random(number).sample(names, len(names)):
            call = asked[name]
            began_s = clock_s()
            for repeat in range(repeats):
                call(number * repeats + repeat)
            took_s[name].append((clock_s() - began_s) / repeats)
    return took_s
