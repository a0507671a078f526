"""A message of another bridge to messages of ours; what a rule does not find is told."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import msgspec

from joulebook.ingest.checks import Objection
from joulebook.ingest.instants import instant_of
from joulebook.ingest.mapping.filters import levels_taken
from joulebook.ingest.mapping.pointer import find
from joulebook.ingest.mapping.rules import MappingRule, ReadingRule
from joulebook.ingest.message import Message
from joulebook.ingest.topics import PREFIX
from joulebook.ingest.wording import shown

_json = msgspec.json.Decoder(float_hook=Decimal)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_PLACEHOLDER = re.compile(r"\{(\d+)\}")
_FAR_MS = 10**15


@dataclass(frozen=True, slots=True)
class Translated:
    """What rules made of a message: messages of ours, and what they did not find in it."""

    messages: list[Message]
    objections: list[Objection]


class Mappings:
    """The rules of a data directory."""

    def __init__(self, rules: Sequence[MappingRule] = ()) -> None:
        self._rules = tuple(rules)

    @property
    def topic_filters(self) -> list[str]:
        """What to subscribe to at a broker, each filter once."""
        return list(dict.fromkeys(rule.topic for rule in self._rules))

    def translate(self, message: Message) -> Translated | None:
        """Return what the rules whose filter takes the topic make of a message.

        ``None`` where no filter takes it.
        """
        found = [
            (rule, taken)
            for rule in self._rules
            if (taken := levels_taken(rule.topic, message.topic)) is not None
        ]
        if not found:
            return None
        made = Translated([], [])
        try:
            document = _json.decode(message.payload)
        except (msgspec.DecodeError, UnicodeDecodeError, ArithmeticError, RecursionError):
            # No JSON; or a number that no decimal holds, or lists in lists without end.
            document = _plain(message.payload)
        for rule, taken in found:
            _apply(rule, taken, document, message, made)
        return made


def _apply(
    rule: MappingRule, taken: list[str], document: Any, message: Message, made: Translated
) -> None:
    device = _PLACEHOLDER.sub(lambda number: taken[int(number[1]) - 1].lower(), rule.device)
    try:
        at_ms = _time(rule, document)
    except (ValueError, ArithmeticError) as error:
        made.objections.append(Objection("time-not-found", f"the time: {_why(error)}"))
        return
    records = []
    for reading in rule.readings:
        try:
            record = _record(reading, document)
        except (ValueError, ArithmeticError) as error:
            detail = f"{device}/{reading.quantity}: {_why(error)}"
            made.objections.append(Objection("reading-not-found", detail))
        else:
            if record is not None:
                records.append(record)
    if records:
        if at_ms is not None:
            records[0]["bt"] = at_ms / 1000
        made.messages.append(
            replace(
                message,
                topic=f"{PREFIX}{rule.site}/{device}",
                payload=msgspec.json.encode(records),
            )
        )


def _time(rule: MappingRule, document: Any) -> int | None:
    """Return the instant that a payload names; ``None`` where that of receipt is to be taken."""
    if rule.time is None:
        return None
    value = find(document, rule.time)
    if rule.time_form == "text":
        if not isinstance(value, str):
            raise ValueError(f"{shown(value)} is no text")
        return instant_of(value)
    number = _number(value)
    if number is None:
        raise ValueError(f"{shown(value)} is no number")
    at_ms = number if rule.time_form == "milliseconds" else number * 1000
    if not abs(at_ms) < _FAR_MS:
        raise ValueError(f"{shown(value)} is no time of any calendar")
    return round(at_ms)


def _record(rule: ReadingRule, document: Any) -> dict[str, Any] | None:
    """Return the SenML record of a reading, ``None`` where the payload says that there is none."""
    value = find(document, rule.at)
    number = _number(value)
    if value is None or (number if number is not None else value) in rule.missing:
        return None
    if not rule.unit:
        if isinstance(value, bool):
            return {"n": rule.quantity, "vb": value}
        if isinstance(value, str):
            return {"n": rule.quantity, "vs": value}
        raise ValueError(f"{shown(value)} needs a unit in the mapping")
    if number is None:
        raise ValueError(f"{shown(value)} is no number")
    # In decimal: 1201 times 0.1 is 120.1, which no product of floats gives.
    return {"n": rule.quantity, "u": rule.unit, "v": float(number * rule.scale)}


def _number(value: object) -> Decimal | None:
    """Return a value as a number; a text that is one counts, for many bridges quote theirs."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | Decimal):
        return Decimal(value)
    if isinstance(value, str) and _NUMBER.fullmatch(value.strip()):
        return Decimal(value.strip())
    return None


def _why(error: ValueError | ArithmeticError) -> str:
    """Return what is wrong with a value, in words; decimal has none for what it cannot hold."""
    return str(error) if isinstance(error, ValueError) else "the number is too large"


def _plain(payload: bytes) -> str:
    """Return a payload that is no JSON as text: a bare ON, or a number with a plus."""
    return payload.decode("utf-8", "replace").strip()
