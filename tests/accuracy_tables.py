"""The accuracy page, written from scores."""

import math
from collections import Counter
from collections.abc import Callable, Sequence

import numpy as np

from tests.accuracy_answers import MONTHS, Score
from tests.accuracy_bars import BARS, Bar, Summary, summary

#: Numbers in the order of the page, with the unit of their errors.
NUMBERS = {
    "capacity": "%",
    "capacity, gain removed": "%",
    "fade": "%/year",
    "cycles": "%",
    "cycles, gain removed": "%",
    "round trip": "points",
    "round trip, 30 windows": "points",
    "idle": "W",
    "ten years": "points",
}
_HEADS = (
    "answered | interval only | refused | bias | median error | 90th percentile "
    "| coverage of 90 % intervals | mean width"
)

_GROUPED = ("capacity, gain removed", "fade", "round trip", "idle", "ten years")

GROUPS: dict[str, Callable[[Score], bool]] = {
    "reserve up to 12 %": lambda score: score.facts.reserve_ratio <= 0.12,
    "reserve 12 to 20 %": lambda score: 0.12 < score.facts.reserve_ratio <= 0.2,
    "reserve over 20 %": lambda score: score.facts.reserve_ratio > 0.2,
    "below 8 % on one day in ten": lambda score: score.facts.often_deep,
    "never low": lambda score: score.facts.never_low,
    "never full": lambda score: score.facts.never_full,
    "with deep tests": lambda score: score.facts.kind == "tested",
    "deep in summer only": lambda score: score.facts.kind == "summer-deep",
    "two cycles a day": lambda score: score.facts.kind == "twice-a-day",
    "logged every 10 s": lambda score: score.facts.step_s == 10,
    "logged every 60 s": lambda score: score.facts.step_s == 60,
    "logged every 300 s": lambda score: score.facts.step_s == 300,
    "nothing draws behind the sensor": lambda score: not score.facts.hidden,
    "perfect sensor": lambda score: score.facts.gain_known,
}


def page(scores: Sequence[Score], *, command: str, took: str) -> str:
    """Return the page in Markdown.

    Parameters
    ----------
    command : str
        That made it.
    took : str
        How long that was, and where.
    """
    homes = {score.facts.home: score.facts for score in scores}
    kinds = Counter(facts.kind for facts in homes.values())
    parts = [
        "# How right the numbers are",
        _intro(len(homes), ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))),
        f"Made by `{command}`. {took}",
        _LIMITS,
        "## Against the bars",
        bars_table(scores),
        "## Every number, by when it is asked",
        _by_months(scores),
        "## By kind of home",
        *(_by_group(scores, number) for number in _GROUPED),
        "## Odds of keeping 70 % for ten years",
        _odds(scores),
        "## Why numbers were refused",
        _reasons(scores),
    ]
    return "\n\n".join(parts) + "\n"


_LIMITS = (
    "Not in these homes, so nothing here speaks of it: cells out of balance, packs in parallel, a "
    "charge voltage that is changed, clocks that are wrong, counters that begin anew. A battery's "
    "computer that draws behind the current sensor (5 to 40 mA in three homes of ten) cannot be "
    "told from the sensor's zero by anyone who has the readings alone: 40 mA are 2 W of idle "
    "draw and up to 0.4 points of round trip in a small pack."
)


def _intro(count: int, kinds: str) -> str:
    return (
        f"{count} simulated homes with known truth ({kinds}), drawn anew by the seed in the "
        "command: packs of 100 to 600 Ah with their own rest voltages, polarisation, "
        "hysteresis and laws of ageing; climates; people; inverters; sensors with gain, offset, "
        "drift, noise and gaps (`tests/helpers/homes`). The product is given their readings "
        "alone. An error is what was said less what is true; a bar's error is the 90th "
        "percentile of its size over the homes answered. *Gain removed* compares with what a "
        "sensor of this gain counts of the truth. *Ten years* against the bars counts the homes "
        "whose capacity was measured by then; further down all."
    )


def _shown(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.2f}"


def bars_table(scores: Sequence[Score]) -> str:
    """Return which bars hold."""
    rows = ["| what | bar | measured | scores | |", "| --- | --- | --- | --- | --- |"]
    for bar in BARS:
        value, count = bar.measured(scores)
        verdict = "holds" if bar.holds(value) else "**misses**"
        rows.append(
            f"| {bar.text} | {_limits(bar)} | {_shown(value)} | {count} | "
            f"{verdict if count else 'not measured'} |"
        )
    return "\n".join(rows)


def _limits(bar: Bar) -> str:
    if math.isinf(bar.lowest):
        return f"≤ {bar.highest:g} {bar.unit}"
    if math.isinf(bar.highest):
        return f"≥ {bar.lowest:g} {bar.unit}"
    return f"{bar.lowest:g} to {bar.highest:g} {bar.unit}"


def _row(name: str, found: Summary) -> str:
    numbers = (found.bias, found.median, found.p90, 100 * found.coverage, found.width)
    counts = f"{found.answered} | {found.interval_only} | {found.refused}"
    return f"| {name} | {counts} | {' | '.join(_shown(each) for each in numbers)} |"


def _table(first: str, rows: Sequence[str]) -> str:
    return "\n".join([f"| {first} | {_HEADS} |", "|" + " --- |" * 9, *rows])


def _by_months(scores: Sequence[Score]) -> str:
    rows = []
    for number, unit in NUMBERS.items():
        for months in MONTHS:
            mine = [s for s in scores if s.number == number and s.months == months]
            if mine:
                rows.append(_row(f"{number} [{unit}], {months} months", summary(mine)))
    return _table("number", rows)


def _last_of_each(scores: Sequence[Score]) -> list[Score]:
    """Return what each home was told at the end of its record."""
    last: dict[str, int] = {}
    for score in scores:
        last[score.facts.home] = max(last.get(score.facts.home, 0), score.months)
    return [score for score in scores if score.months == last[score.facts.home]]


def _by_group(scores: Sequence[Score], number: str) -> str:
    mine = [score for score in _last_of_each(scores) if score.number == number]
    rows = [_row(name, summary(filter(of, mine))) for name, of in GROUPS.items()]
    title = f"### {number.capitalize()} [{NUMBERS[number]}], at the end of the record"
    return f"{title}\n\n{_table('homes', rows)}"


def _odds(scores: Sequence[Score]) -> str:
    rows = [
        "| asked after | homes | said below 20 %: kept | 20 to 80 %: kept | above: kept "
        "| mean squared error |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for months in MONTHS:
        said = np.array(
            [
                (score.value, score.truth)
                for score in scores
                if score.number == "odds" and score.months == months and score.value is not None
            ]
        ).reshape(-1, 2)
        place = np.digitize(said[:, 0], [0.2, 0.8])
        bins = [said[place == each, 1] for each in range(3)]
        kept = " | ".join(f"{int(each.sum())} of {each.size}" for each in bins)
        error = float(np.mean((said[:, 0] - said[:, 1]) ** 2)) if said.size else math.nan
        rows.append(f"| {months} months | {len(said)} | {kept} | {_shown(error)} |")
    return "\n".join(rows)


def _reasons(scores: Sequence[Score]) -> str:
    found = Counter(
        (score.number, _without_figures(score.reason))
        for score in _last_of_each(scores)
        if score.reason is not None and score.number in NUMBERS
    )
    rows = [
        f"| {number} | {count} | {reason} |" for (number, reason), count in sorted(found.items())
    ]
    return "\n".join(["| number | times | reason |", "| --- | --- | --- |", *rows])


def _without_figures(reason: str) -> str:
    """Return a reason with its figures taken out, so that alike ones count together."""
    return " ".join("…" if any(c.isdigit() for c in word) else word for word in reason.split())
