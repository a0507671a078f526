from typing import Any

import pytest

from joulebook.summaries.homes.numbers import Measured
from joulebook.summaries.homes.peers import Beside, Peers
from joulebook.summaries.homes.reasons import CODES, Reason
from joulebook.web.homes.choice import SHOWS, Home
from joulebook.web.region.formats import DASH, NBSP
from joulebook.web.shown import PERCENT
from joulebook.web.words.home_sentences import (
    PERCENT_A_YEAR,
    lead_of,
    number_words,
    peers_words,
    sentence_of,
)
from joulebook.web.words.home_texts import SHOWN
from tests.helpers.told_homes import NOON_MS, numbers, outlook

MINUS = "\N{MINUS SIGN}"
#: Capacity and fade beside forty peers.
PEERS = Peers(
    capacity=Beside(peers=40, middle=0.93, low=0.9, high=0.96),
    fade=Beside(peers=38, middle=0.015, low=0.01, high=0.02),
)


def plain(words: str) -> str:
    """Return words with ordinary signs."""
    for sign, ordinary in ((NBSP, " "), ("\N{WORD JOINER}", ""), (DASH, " to "), (MINUS, "-")):
        words = words.replace(sign, ordinary)
    return words


def told(reason: Reason, **changes: Any) -> str:
    given: dict[str, Any] = {
        "name": "kiln",
        "state": "now",
        "reasons": [reason],
        "numbers": numbers(),
        "peers": PEERS,
        "heard_ms": NOON_MS - 3 * 86_400_000,
    }
    home = Home(**(given | changes))
    return plain(sentence_of(home, reason, now_ms=NOON_MS))


LOW = outlook(chance=0.1, floor_reached="2031-06-15")
BEYOND = outlook(chance=0.4, floor_reached="beyond")


@pytest.mark.parametrize(
    ("reason", "changes", "sentence"),
    [
        (Reason(code="silent"), {}, "Nothing was heard for 3 days."),
        (Reason(code="silent"), {"heard_ms": None}, "Nothing was ever heard of it."),
        (
            Reason(code="danger", title="The neutral seems loose", sentence="130 V and 110 V"),
            {},
            "The neutral seems loose: 130 V and 110 V.",
        ),
        (
            Reason(code="checks", sentence="it is turned around", check=("sign", "battery-2")),
            {},
            "Battery 2: it is turned around.",
        ),
        (
            Reason(code="checks", sentence="it does not close", check=("noon", None)),
            {},
            "The whole site: it does not close.",
        ),
        (
            Reason(code="capacity-low"),
            {"numbers": numbers(capacity=Measured(value=0.6, low=0.58, high=0.62))},
            "It holds 62 % of the rated charge at the most; 70 % are promised until 1 March 2034.",
        ),
        (
            Reason(code="worse-than-peers", about=("capacity",)),
            {},
            "It holds 93.0 % of the rated charge, where 40 homes like it hold 93.0 %.",
        ),
        (
            Reason(code="worse-than-peers", about=("fade",)),
            {},
            "It loses 3.0 % a year, where 38 homes like it lose 1.5 % a year.",
        ),
        (
            Reason(code="forecast-low", chance=0.1, months=54, until="2034-03-01"),
            {"numbers": numbers(outlook=LOW)},
            "It will probably not hold until its warranty ends on 1 March 2034: the chance is 10 %;"
            " 54 months are left to act. Half of its futures are below the floor by June 2031.",
        ),
        (
            Reason(code="forecast-low", chance=0.4, months=1, until="2034-03-01"),
            {"numbers": numbers(outlook=BEYOND)},
            "It will probably not hold until its warranty ends on 1 March 2034: the chance is 40 %;"
            " one month is left to act.",
        ),
        (
            Reason(code="warranty-ends", months=0, until="2034-03-01"),
            {},
            "Its warranty ends on 1 March 2034: less than a month is left.",
        ),
        (
            Reason(code="unproven", missing=("terms", "installed", "sign-off")),
            {},
            "A claim would lack the terms of the warranty, the day the battery first ran and a"
            " signed commissioning record.",
        ),
    ],
)
def test_every_reason_is_a_sentence(reason: Reason, changes: dict[str, Any], sentence: str) -> None:
    assert told(reason, **changes) == sentence


def test_every_state_and_reason_can_be_chosen_by_words() -> None:
    assert tuple(SHOWN) == SHOWS
    assert set(CODES) < set(SHOWN)


@pytest.mark.parametrize(
    ("counts", "every", "lead"),
    [
        ({}, 0, "There is no home yet that you may see."),
        ({"fine": 1}, 1, "None of 1 home needs someone now."),
        ({"now": 1, "fine": 1}, 2, "1 of 2 homes needs someone now."),
        ({"now": 3, "ahead": 1}, 9, "3 of 9 homes need someone now. 1 has something ahead."),
        (
            {"ahead": 2, "lacking": 1},
            3,
            "None of 3 homes needs someone now. 2 have something ahead; 1 has all but the proof"
            " for a claim.",
        ),
    ],
)
def test_the_answer_comes_in_a_sentence(counts: dict[str, int], every: int, lead: str) -> None:
    assert lead_of(counts, every) == lead


def test_a_number_stands_with_its_interval_or_the_reason() -> None:
    def words(number: Measured) -> str:
        return plain(number_words(number, PERCENT_A_YEAR))

    assert words(Measured(value=0.03, low=0.02, high=0.04)) == "3.0 % a year (2.0 to 4.0 % a year)"
    early = Measured(low=-0.01, high=0.04, reason="too early")
    assert words(early) == "only its interval is given: -1.0 to 4.0 % a year"
    assert words(Measured(reason="never low")) == "not given: never low"
    assert words(Measured()) == "not given: "


def test_peers_stand_with_what_most_of_them_have_or_why_there_are_none() -> None:
    said = plain(peers_words(PEERS.capacity, PERCENT))
    assert said == "40 homes like it: 93.0 %, 9 in 10 within 90.0 to 96.0 %"
    alone = Beside(peers=3, reason="fewer than 12 homes are like it")
    assert peers_words(alone, PERCENT) == "not compared: fewer than 12 homes are like it"
