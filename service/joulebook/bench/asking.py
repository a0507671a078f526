"""Everybody is asked the same questions; the answers are checked before any time is taken."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from joulebook.bench.filling import ROWS, Filled
from joulebook.bench.questions import (
    ALL_DEVICES,
    ONE_DEVICE,
    SIX,
    Answer,
    Reader,
    Wanted,
    require_same,
)
from joulebook.bench.report import OURS, Row
from joulebook.bench.rounds import Spread, by_turns
from joulebook.bench.site import PLACES, Plan, day_span
from joulebook.bench.truth import Truth
from joulebook.core.spans import Span

_DAYS_IN_A_ROW = 5
_DAYS_APART = 11
_LAST_REPEATS = 10

#: Answers a question in a round.
Ask = Callable[[int], Answer]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """How often each question is put."""

    quick: int  # what takes milliseconds
    slow: int  # what takes a second of the slowest


def chosen_days(plan: Plan, rounds: int) -> list[Span]:
    """Return the days to read: one after the other never of one week, over the whole time."""
    return [day_span(number * _DAYS_APART % plan.days) for number in range(rounds * _DAYS_IN_A_ROW)]


def question_rows(
    plan: Plan, filled: Filled, truth: Truth, quarters_span: Span, rounds: Rounds
) -> list[Row]:
    """Put all questions to everybody and return the rows."""
    readers: list[Reader] = [filled.ours, *filled.rivals.readers]
    days = chosen_days(plan, rounds.quick)
    quarter_days = (quarters_span.end_ms - quarters_span.start_ms) // 86_400_000
    return [
        _day_row(
            "day_one_device",
            "one day, 6 series of a device, mean of 5 days read in a row",
            readers,
            truth,
            days,
            ONE_DEVICE,
        ),
        _day_row(
            "day_all_devices",
            "one day, 6 series of four devices, mean of 5 days read in a row",
            readers,
            truth,
            days,
            ALL_DEVICES,
        ),
        _quarters_row(
            f"{quarter_days} days of quarter hours, 6 series: least, mean, greatest, count",
            filled,
            truth,
            quarters_span,
            rounds.slow,
        ),
        _energy_row(
            f"daily charge and discharge energy, {plan.days} days from all readings",
            filled,
            truth,
            plan.span,
            rounds.slow,
        ),
        _row(
            "last",
            f"last value of every series, mean of {_LAST_REPEATS} calls in a row",
            {each.name: _last(each) for each in readers},
            lambda _name, _number: truth.last(),
            rounds.quick,
            repeats=_LAST_REPEATS,
        ),
    ]


def _day_row(
    key: str,
    title: str,
    readers: list[Reader],
    truth: Truth,
    days: list[Span],
    wanted: Wanted,
) -> Row:
    def asking(reader: Reader) -> Ask:
        return lambda number: reader.day(days[number], wanted)

    return _row(
        key,
        title,
        {each.name: asking(each) for each in readers},
        lambda _name, number: truth.day(days[number], wanted),
        len(days) // _DAYS_IN_A_ROW,
        repeats=_DAYS_IN_A_ROW,
    )


def _quarters_row(title: str, filled: Filled, truth: Truth, span: Span, rounds: int) -> Row:
    """Ask for quarter hours: ours are means over time, the others' the means of the readings."""
    asked = {
        each.name: _asking(each.quarters, span) for each in (filled.ours, *filled.rivals.readers)
    }
    if filled.rivals.duckdb is not None:
        # So that a table of quarter hours is also compared with a table of quarter hours.
        filled.rivals.duckdb.keep_quarters()
        asked["DuckDB, own quarter hours"] = _asking(filled.rivals.duckdb.kept_quarters, span)
    means = {weighted: truth.quarters(weighted=weighted) for weighted in (True, False)}
    # Ours keeps a mean to a hundredth of the step that its readings have.
    steps = {f"{name}.mean": 0.00501 * 10.0 ** -PLACES["battery"][name] for name in SIX}
    return _row("quarters", title, asked, lambda name, _number: means[name == OURS], rounds, steps)


def _energy_row(title: str, filled: Filled, truth: Truth, span: Span, rounds: int) -> Row:
    asked = {
        each.name: _asking(each.energy, span) for each in (filled.ours, *filled.rivals.readers)
    }
    if filled.rivals.duckdb is not None:
        # Faster, and right only until the first late reading is appended: shown, not compared with.
        asked["DuckDB, as rows lie"] = _asking(filled.rivals.duckdb.energy_as_rows_lie, span)
    true = truth.energy()
    return _row("energy", title, asked, lambda _name, _number: true, rounds)


def _asking(question: Callable[[Span], Answer], span: Span) -> Ask:
    return lambda _: question(span)


def _last(reader: Reader) -> Ask:
    return lambda _: reader.last()


def _row(
    key: str,
    title: str,
    asked: Mapping[str, Ask],
    true: Callable[[str, int], Answer],
    rounds: int,
    within: Mapping[str, float] | None = None,
    *,
    repeats: int = 1,
) -> Row:
    """Check the answers to all calls, then make the calls again and take their time. [ms]"""
    for number in range(rounds * repeats):
        for name, ask in asked.items():
            off = within if name == OURS else None
            require_same(title, name, ask(number), true(name, number), off)
    took_s = by_turns(asked, rounds, repeats=repeats)
    return Row(
        key=key,
        title=title,
        unit="ms",
        better="less",
        results={name: Spread.of([s * 1000 for s in times]) for name, times in took_s.items()},
        baseline=ROWS,
    )
