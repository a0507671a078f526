import pytest

from joulebook.summaries.commissioning import Difference
from joulebook.web.words.sign_off_sentences import difference_words, fact_rows, verdict_counts


def test_verdicts_are_counted_in_words() -> None:
    checks = [{"verdict": verdict} for verdict in ("good", "good", "unclear")]
    assert verdict_counts(checks) == "0 trouble, 2 good, 1 unclear"


def test_facts_come_in_the_order_of_the_form() -> None:
    facts = {"inverter_w": 6500.0, "battery_ah": 200.0, "installer": None, "heat_of_day": 3}
    assert fact_rows(facts) == [
        ("Rated charge", "200\N{NO-BREAK SPACE}Ah"),
        ("Inverter gives for long", "6500\N{NO-BREAK SPACE}W"),
    ]


@pytest.mark.parametrize(
    ("difference", "words"),
    [
        (
            Difference("check", "battery-2.current-sign", "unclear", "good"),
            "Battery 2: Does voltage follow current? Unclear, now good.",
        ),
        (
            Difference("check", "site.noon", None, "trouble"),
            "The whole site: Does the sun stand at noon? Not made, now trouble.",
        ),
        (
            Difference("check", "grid.old-check", "good", None),
            "Grid: old-check Good, now not made.",
        ),
        (
            Difference("fact", "battery_ah", 200.0, 180.0),
            "Rated charge: 200 Ah, now 180 Ah.",
        ),
        (Difference("fact", "gone", 1.0, None), "gone: 1.0, now nothing."),
        (Difference("event", "Four panels", None, "panels"), "Noted since: Four panels (panels)."),
        (
            Difference("correction", "grid power", None, "sign"),
            "Corrected since: grid power (sign).",
        ),
        (
            Difference("correction", "grid power", "sign", None),
            "No longer corrected: grid power (sign).",
        ),
    ],
)
def test_a_difference_is_a_sentence(difference: Difference, words: str) -> None:
    assert difference_words(difference).replace("\N{NO-BREAK SPACE}", " ") == words
