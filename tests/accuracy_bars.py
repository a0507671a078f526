"""How scores are summed up, and the bars that they are held against."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats
from tests.accuracy_answers import Score


@dataclass(frozen=True, kw_only=True)
class Summary:
    """Scores of one number, summed up; errors and widths in its printed unit.

    Attributes
    ----------
    answered, interval_only, refused : int
        With a value; with an interval alone; with neither.
    coverage, width : float
        Share of the intervals that hold the truth, mean distance between their ends; NaN where
        there is none.
    """

    answered: int
    interval_only: int
    refused: int
    bias: float
    median: float
    p90: float
    coverage: float
    width: float


def summary(scores: Iterable[Score]) -> Summary:
    """Sum up scores; those without a truth are left out."""
    known = [score for score in scores if score.truth is not None]
    errors = np.array(
        [s.value - s.truth for s in known if s.value is not None and s.truth is not None]
    )
    ends = np.array(
        [(s.low, s.high, s.truth) for s in known if s.low is not None and s.high is not None]
    ).reshape(-1, 3)
    held = (ends[:, 0] <= ends[:, 2]) & (ends[:, 2] <= ends[:, 1])
    neither = sum(score.value is None and score.low is None for score in known)
    return Summary(
        answered=errors.size,
        interval_only=len(known) - errors.size - neither,
        refused=neither,
        bias=_of(_mean, errors),
        median=_of(_median, np.abs(errors)),
        p90=_of(lambda values: float(np.percentile(values, 90)), np.abs(errors)),
        coverage=_of(_mean, held.astype(float)),
        width=_of(_mean, ends[:, 1] - ends[:, 0]),
    )


def _mean(values: Floats) -> float:
    return float(values.mean())


def _median(values: Floats) -> float:
    return float(np.median(values))


def _of(statistic: Callable[[Floats], float], values: Floats) -> float:
    return statistic(values) if values.size else math.nan


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One bar: which scores, what is read off their summary, and between what it must lie."""

    text: str
    number: str
    months: tuple[int, ...]
    of: Callable[[Score], bool]
    read: Callable[[Summary], float]
    lowest: float = -math.inf
    highest: float = math.inf
    unit: str = ""

    def measured(self, scores: Sequence[Score]) -> tuple[float, int]:
        """Return what was measured, and on how many scores."""
        mine = [
            score
            for score in scores
            if score.number == self.number and score.months in self.months and self.of(score)
        ]
        found = summary(mine)
        return self.read(found), found.answered + found.interval_only + found.refused

    def holds(self, value: float) -> bool:
        """Whether a measured value is within the bar; one that could not be measured is not."""
        return self.lowest <= value <= self.highest


def _all(_score: Score) -> bool:
    return True


def _p90(found: Summary) -> float:
    return found.p90


def _coverage(found: Summary) -> float:
    return 100 * found.coverage


def _width(found: Summary) -> float:
    return found.width


def _share_answered(found: Summary) -> float:
    return 100 * found.answered / max(found.answered + found.interval_only + found.refused, 1)


def _reaches_low(score: Score) -> bool:
    facts = score.facts
    return facts.reserve_ratio <= 0.12 and facts.kind != "never-full"


def _deep(score: Score) -> bool:
    return score.facts.often_deep


def _measured(score: Score) -> bool:
    return score.measured


def _never_low(score: Score) -> bool:
    return score.facts.never_low


YEARS = (12, 24, 36)
LAST = (36,)


def _fade_bars() -> list[Bar]:
    limits = {12: 0.85, 24: 0.36, 36: 0.25}
    bars = [
        Bar(text=f"fade after {months // 12} y", number="fade", months=(months,), of=_all,
            read=_p90, highest=limit, unit="%/year")
        for months, limit in limits.items()
    ]  # fmt: skip
    deep = Bar(text="fade after 2 y, pack goes below 8 %", number="fade", months=(24,), of=_deep,
               read=_p90, highest=0.2, unit="%/year")  # fmt: skip
    return [*bars, deep]


def _forecast_bars() -> list[Bar]:
    widths = {6: 25.0, 12: 20.0, 18: 12.0, 24: 7.5, 36: 5.5}
    return [
        bar
        for months, limit in widths.items()
        for bar in (
            Bar(text=f"ten years, asked after {months} months: coverage", number="ten years",
                months=(months,), of=_measured, read=_coverage, lowest=86, highest=94, unit="%"),
            Bar(text=f"ten years, asked after {months} months: mean width", number="ten years",
                months=(months,), of=_measured, read=_width, highest=limit, unit="points"),
        )
    ]  # fmt: skip


#: All bars; an error is the 90th percentile over the homes that were answered.
BARS: tuple[Bar, ...] = (
    Bar(text="equivalent full cycles, gain removed", number="cycles, gain removed", months=LAST,
        of=_all, read=_p90, highest=0.1, unit="%"),
    Bar(text="equivalent full cycles, all in", number="cycles", months=LAST, of=_all, read=_p90,
        highest=1.2, unit="%"),
    Bar(text="round trip of a quarter with 30 windows", number="round trip, 30 windows",
        months=YEARS, of=_all, read=_p90, highest=0.4, unit="points"),
    Bar(text="capacity, all in", number="capacity", months=LAST, of=_all, read=_p90,
        highest=1.7, unit="%"),
    Bar(text="capacity, gain removed, pack goes below 8 %", number="capacity, gain removed",
        months=LAST, of=_deep, read=_p90, highest=0.6, unit="%"),
    *_fade_bars(),
    *_forecast_bars(),
    Bar(text="idle draw", number="idle", months=LAST, of=_all, read=_p90, highest=2.0, unit="W"),
    Bar(text="capacity answered where never low", number="capacity", months=YEARS, of=_never_low,
        read=_share_answered, highest=0.0, unit="%"),
    Bar(text="capacity answered after 1 y, reserve 12 % or less, gets full", number="capacity",
        months=(12,), of=_reaches_low, read=_share_answered, lowest=95.0, unit="%"),
    Bar(text="analysis of three years", number="seconds", months=LAST,
        of=lambda score: score.facts.step_s == 60, read=_p90, highest=2.0, unit="s"),
)  # fmt: skip
