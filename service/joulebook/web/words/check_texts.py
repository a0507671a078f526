"""What the checks of wiring and talking are called, and how their numbers read."""

from collections.abc import Mapping

from joulebook.web.region import formats

#: A check's name in the JSON document, and what it asks.
CHECKS = {
    "heard": "Is it heard?",
    "gaps": "Does it keep talking?",
    "clock": "Is its clock right?",
    "stuck": "Do its values move?",
    "limits": "Can its values be?",
    "noon": "Does the sun stand at noon?",
    "sign": "Is its sign right?",
    "scale": "Is its scale right?",
    "product": "Is power volts times amperes?",
    "counter": "Does its counter agree?",
    "current sign": "Does voltage follow current?",
    "lugs": "Are lugs and cables sound?",
    "legs": "Are both legs live?",
    "neutral": "Is the neutral sound?",
}

#: A verdict: its sign, which is not for readers of the screen aloud, and its word.
VERDICTS = {
    "trouble": ("\N{MULTIPLICATION X}", "Trouble"),
    "good": ("\N{CHECK MARK}", "Good"),
    "unclear": ("?", "Unclear"),
}

_MINUS = "\N{MINUS SIGN}"

#: Ends of names in the evidence: scale, decimals and unit.
_UNITS = {
    "wh": (1.0, 0, "Wh"),
    "w": (1.0, 1, "W"),
    "v": (1.0, 2, "V"),
    "a": (1.0, 2, "A"),
    "h": (1.0, 1, "h"),
    "mohm": (1.0, 2, "mΩ"),
    "ratio": (100.0, 1, "%"),
    "count": (1.0, 0, ""),
}


def evidence_words(evidence: Mapping[str, float]) -> list[tuple[str, str]]:
    """Return the numbers behind a finding as pairs of a name and words."""
    return [(_name(name), _number(name, value)) for name, value in evidence.items()]


def _name(name: str) -> str:
    words, _, unit = name.rpartition("_")
    return (words if unit in _UNITS or unit == "s" else name).replace("_", " ")


def _number(name: str, value: float) -> str:
    unit = name.rpartition("_")[2]
    if unit == "s":
        # Ahead of its time a clock is below zero, and a length of time never is.
        return f"{'' if value >= 0 else _MINUS}{formats.duration(abs(value))}"
    scale, digits, word = _UNITS.get(unit, (1.0, 2, ""))
    return f"{formats.fixed(value * scale, digits)}{formats.NBSP}{word}".rstrip(formats.NBSP)
