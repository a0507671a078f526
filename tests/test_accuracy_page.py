"""How scores are summed up, held against the bars, and written down."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from multiprocessing.context import BaseContext
from pathlib import Path

import pytest

from tests import accuracy
from tests.accuracy_answers import Facts, Score
from tests.accuracy_bars import BARS, Bar, summary
from tests.accuracy_tables import GROUPS, bars_table, page
from tests.helpers.homes import HomeSpec, named_homes

FACTS = Facts(
    home="a",
    kind="usual",
    days=1096,
    reserve_ratio=0.1,
    step_s=60,
    gain_known=False,
    hidden=False,
    low_days=200,
    deep_days=110,
    full_days=300,
)
RIGHT = Score(
    facts=FACTS,
    measured=True,
    number="capacity",
    months=36,
    truth=100.0,
    value=101.0,
    low=99.0,
    high=103.0,
)


def test_errors_are_summed_up_by_hand() -> None:
    wrong = replace(RIGHT, value=97.0, low=96.0, high=98.0)
    alone = replace(RIGHT, value=None, low=90.0, high=110.0, reason="too early")
    refused = replace(RIGHT, value=None, low=None, high=None, reason="never low")
    unknown = replace(RIGHT, truth=None)
    found = summary([RIGHT, wrong, alone, refused, unknown])
    assert (found.answered, found.interval_only, found.refused) == (2, 1, 1)
    # Errors 1 and -3; intervals of 4, 2 and 20, of which the second misses.
    assert (found.bias, found.median) == (-1.0, 2.0)
    assert found.p90 == pytest.approx(2.8)
    assert found.coverage == pytest.approx(2 / 3)
    assert found.width == pytest.approx(26 / 3)


def test_nothing_is_not_zero() -> None:
    found = summary([])
    assert math.isnan(found.p90)
    assert math.isnan(found.coverage)


def bar(text: str) -> Bar:
    return next(each for each in BARS if each.text == text)


def test_a_bar_is_read_off_its_own_scores() -> None:
    other = replace(RIGHT, months=24, value=150.0)
    assert bar("capacity, all in").measured([RIGHT, other]) == (1.0, 1)
    assert bar("capacity, all in").holds(1.0)
    assert not bar("capacity, all in").holds(1.8)
    assert not bar("capacity, all in").holds(math.nan)


def test_a_pack_that_is_never_low_must_be_refused() -> None:
    never = replace(RIGHT, facts=replace(FACTS, low_days=0, deep_days=0))
    assert bar("capacity answered where never low").measured([RIGHT, never]) == (100.0, 1)
    asked = replace(RIGHT, months=12)
    early = bar("capacity answered after 1 y, reserve 12 % or less, gets full")
    assert early.measured([asked, replace(asked, value=None, low=None)]) == (50.0, 2)


def test_ten_years_are_held_to_bars_where_capacity_was_measured() -> None:
    ahead = replace(RIGHT, number="ten years", value=None, low=80.0, high=104.0)
    guessed = replace(ahead, measured=False, low=0.0)
    width = bar("ten years, asked after 36 months: mean width")
    assert width.measured([ahead, guessed]) == (24.0, 1)


def test_bars_say_what_they_miss() -> None:
    table = bars_table([RIGHT, replace(RIGHT, value=103.0, number="capacity, gain removed")])
    assert "| capacity, all in | ≤ 1.7 % | 1.00 | 1 | holds |" in table
    assert "gain removed, pack goes below 8 % | ≤ 0.6 % | 3.00 | 1 | **misses** |" in table
    assert "| idle draw | ≤ 2 W | - | 0 | not measured |" in table
    assert "coverage | 86 to 94 % |" in table
    assert "| ≥ 95 % |" in table


def test_every_group_takes_some_home() -> None:
    kinds = {
        **dict.fromkeys(GROUPS, RIGHT),
        "reserve 12 to 20 %": replace(RIGHT, facts=replace(FACTS, reserve_ratio=0.15)),
        "reserve over 20 %": replace(RIGHT, facts=replace(FACTS, reserve_ratio=0.3)),
        "never low": replace(RIGHT, facts=replace(FACTS, low_days=2)),
        "never full": replace(RIGHT, facts=replace(FACTS, full_days=2)),
        "with deep tests": replace(RIGHT, facts=replace(FACTS, kind="tested")),
        "deep in summer only": replace(RIGHT, facts=replace(FACTS, kind="summer-deep")),
        "two cycles a day": replace(RIGHT, facts=replace(FACTS, kind="twice-a-day")),
        "logged every 10 s": replace(RIGHT, facts=replace(FACTS, step_s=10)),
        "logged every 300 s": replace(RIGHT, facts=replace(FACTS, step_s=300)),
        "perfect sensor": replace(RIGHT, facts=replace(FACTS, gain_known=True)),
    }
    assert all(of(kinds[name]) for name, of in GROUPS.items())


def test_the_page_has_odds_and_reasons() -> None:
    odds = [
        replace(RIGHT, number="odds", value=said, truth=kept, low=None, high=None)
        for said, kept in ((0.1, 0.0), (0.5, 1.0), (0.9, 1.0), (0.95, 0.0))
    ]
    few = [
        replace(RIGHT, value=None, low=None, high=None, reason=f"low {count} times, not enough")
        for count in (3, 7)
    ]
    text = page([RIGHT, *odds, *few], command="a command", took="No time.")
    # By hand: (0.01 + 0.25 + 0.01 + 0.9025) / 4.
    assert "| 36 months | 4 | 0 of 1 | 1 of 1 | 1 of 2 | 0.29 |" in text
    assert "| capacity | 2 | low … times, not enough |" in text
    assert "1 simulated homes with known truth (1 usual)" in text
    assert "`a command`. No time." in text


def test_the_command_writes_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def few(count: int, *, seed: int, years: float) -> list[HomeSpec]:
        assert (count, seed) == (2, 9)
        homes = named_homes()
        return [replace(homes[name], years=years) for name in ("never-low", "deep-perfect")]

    def threads(count: int, *, mp_context: BaseContext) -> ThreadPoolExecutor:
        assert mp_context.get_start_method() == "spawn"
        return ThreadPoolExecutor(count)

    monkeypatch.setattr(accuracy, "draw_homes", few)
    # Processes of their own would still be ending when coverage is counted.
    monkeypatch.setattr(accuracy, "ProcessPoolExecutor", threads)
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")
    arguments = ["--homes", "2", "--seed", "9", "--years", "0.5", "--cache", str(tmp_path / "kept")]
    written = tmp_path / "accuracy.md"
    assert accuracy.main([*arguments, "--write", str(written)]) == 0
    printed = capsys.readouterr().out
    assert written.read_text(encoding="utf-8") == printed
    assert "--homes 2 --seed 9 --years 0.5" in printed
    assert "2 of the homes were simulated anew" in printed
    assert accuracy.main([*arguments, "--processes", "1"]) == 0
    # The same homes, kept since the first time: the same numbers, but for how long it took.
    again = capsys.readouterr().out
    assert "0 of the homes were simulated anew" in again
    bars = [line for line in printed.splitlines() if line.startswith("| capacity")]
    assert bars == [line for line in again.splitlines() if line.startswith("| capacity")]
