"""What is said beside a field of a form that is not filled in as it should be."""

from collections.abc import Sequence

NEEDED = "This is needed."
CHOOSE = "A file is needed: choose one."
DAY = "A date as 2026-11-25, from 1990 to 2199."
MOMENT = "A date and a time as 2026-11-25 17:30."
MINUTE = "A time of day as 22:00."
QUARTER = "A quarter of an hour such as 07:00 or 21:30, up to 24:00."
AMOUNT = "A number such as 0.31."
DAY_OF_YEAR = "A month and a day such as 04-01."
OF_THE_LIST = "One of the list."
OF_A_SITE = "The name of a site."
OF_THE_ORGANISATION = "The name of a site of this organisation."
A_PAGE = "A page of this site that tells of it, such as its week or its wear."
LETTER_HOUR = "The letter needs an hour, from 0 to 23."
NOT_THE_PASSWORD = "This is not the password that holds now."  # noqa: S105 -- a sentence
NOT_TOGETHER = "This name and this password do not belong together."
NOT_THE_SAME = "The two are not the same."
NOTHING_TO_SIGN = "There is nothing to sign: no check was made, since nothing was heard."
CHECKS_CHANGED = "The checks say something else than when you opened the page: look again."


def too_long(length: int, most: int) -> str:
    """Return what is said of a text that is too long."""
    return f"This has {length} characters; {most} are the most."


def number_within(low: float, high: float) -> str:
    """Return what is said of what is no number, or out of bounds."""
    return f"A number from {low:g} to {high:g}."


def whole_within(low: int, high: int) -> str:
    """Return what is said of what is no whole number, or out of bounds."""
    return f"A whole number from {low} to {high}."


def one_of(among: Sequence[str]) -> str:
    """Return what is said of a word that is not among those to choose from."""
    return f"One of {', '.join(among)}."


def above_coldest(coldest: float) -> str:
    """Return what is said of a hottest cell that is not above the coldest one. [°C]"""
    return f"Above the coldest, which is {coldest:g} °C."


def no_date(text: str) -> str:
    """Return what is said of one of several dates that is none."""
    return f"{text[:20]} is no date. Write each as 2026-12-25."


def refused(what: str, expected: str) -> str:
    """Return what is said of what the floors below refused."""
    return f"{what[:1].upper()}{what[1:]}. Expected: {expected}."


def wrong(what: str, expected: str) -> str:
    """Return the same where their words begin a sentence already."""
    return f"{what}. Expected: {expected}."


def refused_for_now(what: str, next_step: str) -> str:
    """Return what is said where something else has to come first."""
    return f"{what[:1].upper()}{what[1:]}: {next_step}."


def cannot_be(expected: str) -> str:
    """Return the same where their own words would name a field as programs do."""
    return f"This cannot be so. Expected: {expected}."


def too_many_attempts(expected: str) -> str:
    """Return what is said where too many passwords were wrong."""
    return f"Too many attempts failed. Expected: {expected}."
