"""How checks and their numbers read."""

import re
from pathlib import Path

import joulebook.core.checks
from joulebook.web.words.check_texts import CHECKS, VERDICTS, evidence_words


def test_every_check_has_a_question() -> None:
    folder = Path(joulebook.core.checks.__file__).parent
    names = {
        name
        for file in folder.glob("*.py")
        for name in re.findall(r'(?:\bname=|unclear\()\s*"([a-z ]+)"', file.read_text("utf-8"))
    }
    assert len(names) > 10
    assert names <= set(CHECKS)
    assert all(question.endswith("?") for question in CHECKS.values())


def test_a_verdict_is_a_word_and_not_only_a_sign() -> None:
    words = [word for _, word in VERDICTS.values()]
    assert words == ["Trouble", "Good", "Unclear"]
    assert len({sign for sign, _ in VERDICTS.values()}) == 3


def test_numbers_have_their_unit_from_the_name() -> None:
    assert evidence_words(
        {
            "left_over_turned_w": 845.13,
            "larger_leg_ratio": 0.531,
            "resistance_mohm": 0.9,
            "usual_spacing_s": 120.0,
            "quick_lag_s": -4.0,
            "rows_count": 5040.0,
            "meters_differ_v": -0.046,
            "correlation": 0.5,
        }
    ) == [
        ("left over turned", "845.1\N{NO-BREAK SPACE}W"),
        ("larger leg", "53.1\N{NO-BREAK SPACE}%"),
        ("resistance", "0.90\N{NO-BREAK SPACE}mΩ"),
        ("usual spacing", "2\N{NO-BREAK SPACE}min"),
        ("quick lag", "\N{MINUS SIGN}4\N{NO-BREAK SPACE}s"),
        ("rows", "5040"),
        ("meters differ", "\N{MINUS SIGN}0.05\N{NO-BREAK SPACE}V"),
        ("correlation", "0.50"),
    ]
