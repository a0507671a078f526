"""The letter: six answers in six lines, anything new first, the chain's head at the foot."""

from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from joulebook.reminders.letter import Letter, letter_documents, weekly_letter
from joulebook.reminders.letter_lines import answer_lines
from joulebook.storage.alerts import close_episodes, open_episode
from joulebook.storage.connections import transaction
from joulebook.storage.events import Event, add_event
from joulebook.storage.seal_links import last_link
from joulebook.storage.sealing import seal
from joulebook.summaries.results import day_results_of
from tests.helpers.analysed_sites import long_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.pages import NOW_MS, Studio, empty_studio, measured_studio

LONG_MS = START_MS + 370 * DAY_MS
QUESTIONS = (
    *("Is it wired and talking right?", "What happened this week?", "How efficient is it?"),
    *("What can it carry?", "How worn is it?", "Will it hold until the warranty ends?"),
)


def letter(studio: Studio, now_ms: int, address: str = "") -> Letter:
    documents = letter_documents(studio.database, studio.site, now_ms=now_ms, max_gap_s=300.0)
    return weekly_letter(studio.database, studio.site, documents, now_ms=now_ms, address=address)


def answers(text: str) -> dict[str, str]:
    lines = text.splitlines()
    return {each: lines[lines.index(each) + 1].strip() for each in QUESTIONS}


def test_six_questions_stand_in_order_and_each_has_a_line(tmp_path: Path) -> None:
    told = letter(empty_studio(tmp_path), NOW_MS)
    assert [line for line in told.text.splitlines() if line in QUESTIONS] == list(QUESTIONS)
    assert answers(told.text) == {
        QUESTIONS[0]: "Not known: no readings were taken in these days.",
        QUESTIONS[1]: "Nothing was measured.",
        QUESTIONS[2]: "The round trip is not given, since no battery power and state of "
        "charge were measured together.",
        QUESTIONS[3]: "Hours left are not given, since no readings were taken in these days.",
        QUESTIONS[4]: answers(told.text)[QUESTIONS[4]],
        QUESTIONS[5]: answers(told.text)[QUESTIONS[5]],
    }
    assert answers(told.text)[QUESTIONS[4]].startswith("What it holds is not given")
    assert answers(told.text)[QUESTIONS[5]].startswith("Not known, since")


def test_the_week_of_round_numbers_is_told_with_its_coverage(tmp_path: Path) -> None:
    # From Wednesday 25 February to Tuesday 3 March: five whole days, none, and three quarters.
    # 36 kWh made a day: 5.75 · 36 = 207; 24 used: 138. Either gap begins at the last reading, five
    # minutes before its hour: 2 · 0.125 and 2 · 0.083 kWh less.
    told = answers(letter(measured_studio(tmp_path), NOW_MS).text)
    happened = told[QUESTIONS[1]]
    assert happened.startswith("kWh made 206.8, used 137.8, bought 0.0, sold ")
    assert happened.endswith("82 % of the week was measured.")


def test_a_year_s_record_is_told_with_its_intervals(tmp_path: Path) -> None:
    told = answers(letter(long_studio(tmp_path), LONG_MS).text)
    assert told[QUESTIONS[2]] == (
        "It gives back 97.9 % (97.6 to 98.2). The inverter takes 40 W (39 to 41) for itself."
    )
    assert told[QUESTIONS[4]] == "It holds 197 Ah (191 to 202) after 330 full cycles."
    assert told[QUESTIONS[5]] == (
        "Very likely to hold: 99 of 100 futures hold 70 % until 2035-12-20."
    )
    assert told[QUESTIONS[3]].startswith("As full as it is now, ")


def test_what_is_new_comes_first_and_the_chain_s_head_last(tmp_path: Path) -> None:
    studio = measured_studio(tmp_path)
    with closing(studio.database.connect()) as connection:
        for rule, day in (("gap", 1), ("disk", 2), ("kiln", 2)):
            with transaction(connection):
                open_episode(
                    connection,
                    studio.site.id,
                    rule,
                    "",
                    at_ms=NOW_MS - day * DAY_MS,
                    value=1.0,
                    sentence=f"{rule} <is> so",
                )
        for rule in ("disk", "kiln"):
            with transaction(connection):
                close_episodes(connection, studio.site.id, rule, "", at_ms=NOW_MS - DAY_MS // 2)
        for title, days in (("Four more panels", 2), ("Long ago", 20)):
            at_ms = NOW_MS - days * DAY_MS
            event = Event(id=0, at_ms=at_ms, kind="panels", title=title, made_ms=NOW_MS)
            add_event(connection, studio.site, event)
        seal(connection, NOW_MS)
        link = last_link(connection, studio.site.id)
    assert link is not None
    told = letter(studio, NOW_MS, "https://house.example")
    new = told.text[told.text.index("New\n") : told.text.index(QUESTIONS[0])]
    assert new.splitlines()[1:5] == [
        "- Since 2026-03-03 12:00 WET: gap <is> so.",
        "- Over since 2026-03-04 00:00 WET: kiln.",
        "- Over since 2026-03-04 00:00 WET: The disk is nearly full.",
        "- You noted, 2026-03-02 12:00 WET: Four more panels.",
    ]
    assert link.hash.hex() in told.text.splitlines()[-1]
    assert "https://house.example/sites/studio/warranty" in told.text
    assert "gap &lt;is&gt; so" in told.html
    assert '<a href="https://house.example/sites/studio/checks">' in told.html


@pytest.mark.parametrize(
    ("checks", "line"),
    [
        ([("trouble", "one is wrong")], "1 to look at: one is wrong."),
        (
            [("trouble", "one is wrong"), ("good", ""), ("trouble", "so is this")],
            "2 to look at: one is wrong, and 1 more.",
        ),
    ],
)
def test_trouble_is_told_before_what_is_good(checks: list[tuple[str, str]], line: str) -> None:
    found = [{"verdict": verdict, "sentence": words} for verdict, words in checks]
    lines = answer_lines([], checks={"checks": found}, efficiency=_NONE, loads=_NONE, wear=_NONE)
    assert next(iter(lines))[1] == line


_NONE: dict[str, Any] = {
    "round_trip": {"ratio": None, "reason": "so"},
    "idle_w": {"value": None},
    "hours": [{"load": "night", "until": "empty", "value": None, "reason": "it is dark"}],
    "efc": {"total": None},
    "warranty": {"probability_met": None, "reason": "so"},
}


def test_hours_that_are_refused_say_why() -> None:
    lines = list(answer_lines([], checks={"checks": []}, efficiency=_NONE, loads=_NONE, wear=_NONE))
    assert lines[3][1] == "Hours left are not given, since it is dark."
    assert lines[0][1] == "Not known: the readings are too few."


def test_days_without_a_number_do_not_count_as_zero(tmp_path: Path) -> None:
    studio = measured_studio(tmp_path)
    silent = day_results_of(studio.database, studio.site, date(2026, 3, 1), date(2026, 3, 1))
    lines = list(
        answer_lines(silent, checks={"checks": []}, efficiency=_NONE, loads=_NONE, wear=_NONE)
    )
    assert lines[1][1] == "Nothing was measured."
