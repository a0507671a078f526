"""What a look at a site sees: for each rule and subject a value, or that it is missing."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen for one rule.

    Attributes
    ----------
    rule : str
        Its name.
    subject : str
        The device that it is about; empty for the site.
    value : float or None
        In the rule's unit; ``None`` where nothing tells.
    sentence : str
        What it means, for a person.
    level : float or None
        What is remembered at its least, for rules about a rise.
    """

    rule: str
    subject: str = ""
    value: float | None
    sentence: str = ""
    level: float | None = None
