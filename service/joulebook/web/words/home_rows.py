"""What the page of all homes says of each."""

from dataclasses import dataclass

from joulebook.summaries.homes.numbers import Measured, Outlook
from joulebook.summaries.homes.peers import Beside
from joulebook.web.homes.choice import Home
from joulebook.web.region import formats
from joulebook.web.shown import PERCENT, PERCENT_WHOLE, Unit
from joulebook.web.words.home_sentences import (
    PERCENT_A_YEAR,
    number_words,
    peers_words,
    sentence_of,
)
from joulebook.web.words.home_texts import NOTES


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A home as the page shows it."""

    name: str
    note: str | None  # where there is no reason
    reasons: list[str]
    facts: list[tuple[str, list[str]]]


def told_home(home: Home, now_ms: int) -> Told:
    """Return a home as the page shows it."""
    return Told(
        name=home.name,
        note=None if home.reasons else NOTES[home.state],
        reasons=[sentence_of(home, each, now_ms=now_ms) for each in home.reasons],
        facts=_facts(home, now_ms),
    )


def _facts(home: Home, now_ms: int) -> list[tuple[str, list[str]]]:
    """Return the numbers of a home as pairs of a name and lines of words."""
    numbers, peers = home.numbers, home.peers
    if numbers is None:
        return []
    facts = [
        ("Holds", _number(numbers.capacity, None if peers is None else peers.capacity, PERCENT))
    ]
    # What keeps both from being given is said once.
    if numbers.fade.reason is None or numbers.fade.reason != numbers.capacity.reason:
        facts.append(
            ("Loses", _number(numbers.fade, None if peers is None else peers.fade, PERCENT_A_YEAR))
        )
    if numbers.outlook is not None:
        facts.append(("Warranty", _warranty(numbers.outlook)))
    heard = "never" if home.heard_ms is None else formats.age((now_ms - home.heard_ms) / 1000)
    return [*facts, ("Heard", [heard])]


def _number(number: Measured, beside: Beside | None, unit: Unit) -> list[str]:
    lines = [number_words(number, unit)]
    if beside is not None and number.value is not None:
        lines.append(peers_words(beside, unit))
    return lines


def _warranty(outlook: Outlook) -> list[str]:
    assumed = ", its terms assumed" if outlook.assumed else ""
    lines = [f"until {formats.iso_plain(outlook.ends)}{assumed}"]
    if outlook.chance is not None:
        floor = PERCENT_WHOLE.text(outlook.floor_ratio)
        lines.append(f"chance to hold {floor} until then: {formats.odds(outlook.chance)}")
    return lines
