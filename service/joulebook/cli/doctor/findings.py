"""What a check of a deployment found."""

from dataclasses import dataclass
from typing import Literal

#: ``look`` works today and will not always; ``unknown`` could not be looked at here.
Verdict = Literal["well", "look", "trouble", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at.

    Attributes
    ----------
    about : str
        What, in a word or two.
    verdict : str
        How it is.
    sentence : str
        What was seen, with its numbers; never a secret.
    next_step : str
        What to do; empty where nothing is to be done.
    status : int
        The exit status that trouble of this kind has: 3, something is away or wrong with the
        surroundings; 4, the data itself is in danger.
    """

    about: str
    verdict: Verdict
    sentence: str
    next_step: str = ""
    status: int = 3


def well(about: str, sentence: str) -> Finding:
    """Return that something is as it should be."""
    return Finding(about=about, verdict="well", sentence=sentence)


def look(about: str, sentence: str, next_step: str) -> Finding:
    """Return that something should be looked at, although all works."""
    return Finding(about=about, verdict="look", sentence=sentence, next_step=next_step)


def trouble(about: str, sentence: str, next_step: str, *, status: int = 3) -> Finding:
    """Return that something does not work, or will lose data."""
    return Finding(
        about=about, verdict="trouble", sentence=sentence, next_step=next_step, status=status
    )


def unknown(about: str, sentence: str) -> Finding:
    """Return that something could not be looked at."""
    return Finding(about=about, verdict="unknown", sentence=sentence)
