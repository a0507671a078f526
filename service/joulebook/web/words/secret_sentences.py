"""What stands around a secret that is shown once: a token, or a link to a page or into here."""

from dataclasses import dataclass

from joulebook.storage.records import Scope

#: What a token of a site may be for.
SCOPES: dict[Scope, str] = {
    "write": "a bridge: sends readings of this site",
    "read": "a program: reads this site",
}
#: For how many days a link to a page may be good.
DAYS = {"7": "a week", "1": "a day", "30": "30 days", "366": "a year"}

TOKENS_DONE = {
    "revoked": "The token lets nobody in any more; an open connection is closed within seconds.",
}
SHARES_DONE = {"revoked": "The link leads nowhere any more."}


@dataclass(frozen=True, slots=True)
class Around:
    """The title, what it is for, how it is used, and where the page leads back to."""

    title: str
    lead: str
    words: str
    back: str


def around_invitation(name: str) -> Around:
    """Return what stands around a link by which a person comes in for the first time."""
    return Around(
        title=f"A link for {name}",
        lead="Give this link to nobody else. It is good once, for a week.",
        words=f"{name} opens it, chooses a password, and is signed in.",
        back="To the list of people",
    )


def around_link(page: str, days: str) -> Around:
    """Return what stands around a link to one page; ``days`` is one of ``DAYS``."""
    return Around(
        title="A link to one page",
        lead=f"Whoever has it sees {page} for {DAYS[days]}, and nothing else.",
        words="It can be revoked at any time.",
        back="To the list of links",
    )


def around_token(name: str, scope: Scope) -> Around:
    """Return what stands around a token of a site."""
    bridge = f"The bridge signs in with the name {name} and this as its password."
    return Around(
        title=f"The token of {name}",
        lead=f"It is for {SCOPES[scope]}.",
        words=bridge if scope == "write" else _program(name),
        back="To the list of tokens",
    )


def around_token_of(organisation: str, name: str) -> Around:
    """Return what stands around a token of an organisation."""
    return Around(
        title=f"The token of {name}",
        lead=f"It is for a program: reads every site of {organisation}.",
        words=_program(name),
        back=f"To {organisation}",
    )


def _program(name: str) -> str:
    return (
        f"The program signs in by HTTP Basic with the name {name} and this, or sends it alone as a"
        " Bearer token."
    )
