"""The commissioning record: what the checks said when somebody signed, and what changed since."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import msgspec

from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.events import events_of
from joulebook.storage.records import Site
from joulebook.storage.site_facts import FACTS
from joulebook.summaries.numbers import Document

#: Names the form of the signed document; another form gets another number.
FORM = "commissioning-record-1"

DECLARATION = (
    "I looked at these checks on this day, and at what they could not tell as far as remarked. "
    "They tell whether the equipment is measured and heard right. They do not show that wiring "
    "is safe or keeps to code: only an inspection by a qualified person does."
)


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as it was signed; ``None`` for what was, or is, not there.

    Attributes
    ----------
    what : str
        ``check`` with the name of `key_of`, ``fact`` with the fact's name, ``event`` or
        ``correction``.
    name : str
        Which.
    then, now : str, int, float or None
        Verdict, value as stored (dates as ISO text), or title.
    """

    what: Literal["check", "fact", "event", "correction"]
    name: str
    then: str | float | None
    now: str | float | None


def key_of(check: Document) -> str:
    """Return what tells a check of one device from all others, fit for a form's field."""
    return f"{check['device'] or 'site'}.{check['name']}".replace(" ", "-")


def seen_hash(checks: Sequence[Document]) -> str:
    """Return a hash of the verdicts: he who signs has seen those, and no others."""
    seen = sorted((key_of(each), each["verdict"]) for each in checks)
    return hashlib.sha256(msgspec.json.encode(seen)).hexdigest()


def commissioning_record(
    site: Site, checks: Document, *, remarks: Mapping[str, str], statement: str, version: str
) -> Document:
    """Return what is signed, but for the signature.

    Parameters
    ----------
    checks : Document
        The checks document, whole.
    remarks : mapping of str to str
        What was said of single checks, by `key_of`.
    statement : str
        What the one who signs has to add, in his words.
    version : str
        Of joulebook.
    """
    return {
        "form": FORM,
        "joulebook": version,
        "site": site.name,
        "timezone": site.timezone,
        "facts": {fact: _plain(getattr(site, fact)) for fact in FACTS if fact != "locale"},
        "checks": checks,
        "remarks": dict(remarks),
        "statement": statement,
        "declaration": DECLARATION,
    }


def since_signed(
    connection: Connection, site: Site, signed: Document, checks: Document
) -> list[Difference]:
    """Return what is not as it was signed: verdicts, facts, and what was entered since.

    Parameters
    ----------
    signed : Document
        A record as `commissioning_record` made it, with the signature.
    checks : Document
        The checks document of now.
    """
    at_ms = signed["signed"]["at_ms"]
    return [
        *_verdicts(signed["checks"]["checks"], checks["checks"]),
        *_facts(signed["facts"], site),
        *(
            Difference("event", event.title, None, event.kind)
            for event in events_of(connection, site.id)
            if event.made_ms > at_ms
        ),
        *_corrections(connection, site, at_ms),
    ]


def _verdicts(then: Sequence[Document], now: Sequence[Document]) -> list[Difference]:
    was, became = ({key_of(each): each["verdict"] for each in checks} for checks in (then, now))
    return [
        Difference("check", key, was.get(key), became.get(key))
        for key in dict.fromkeys([*was, *became])
        if was.get(key) != became.get(key)
    ]


def _facts(then: Document, site: Site) -> list[Difference]:
    now = {fact: _plain(getattr(site, fact)) for fact in then}
    return [
        Difference("fact", fact, then[fact], now[fact]) for fact in then if then[fact] != now[fact]
    ]


def _corrections(connection: Connection, site: Site, at_ms: int) -> list[Difference]:
    found = []
    for each in corrections_of(connection, site.id, withdrawn=True):
        name = f"{each.device} {each.quantity}"
        made, withdrawn = each.made_ms > at_ms, (each.withdrawn_ms or 0) > at_ms
        if made and not withdrawn:
            found.append(Difference("correction", name, None, each.kind))
        elif withdrawn and not made:
            found.append(Difference("correction", name, each.kind, None))
    return found


def _plain(value: object) -> str | float | None:
    if value is None or isinstance(value, str | int | float):
        return value
    assert isinstance(value, date)  # facts are nothing else
    return value.isoformat()
