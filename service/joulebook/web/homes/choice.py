"""Which of many homes are asked for, and in which order: those that need somebody first."""

from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass

import msgspec

from joulebook.storage.home_lines import HomePlace, home_lines
from joulebook.summaries.homes.numbers import Numbers
from joulebook.summaries.homes.peers import Peers
from joulebook.summaries.homes.reasons import CODES, Reason
from joulebook.web.access.actor import Actor
from joulebook.web.backing import Backing
from joulebook.web.homes.order import STATES, state_of
from joulebook.web.problems import ProblemError

#: So many stand on one page.
PER_PAGE = 30
SHOWS = ("all", *STATES, *CODES)
#: No name of a site is longer.
_MOST_SEARCHED = 63


@dataclass(frozen=True, slots=True, kw_only=True)
class Home:
    """A home as pages, programs and tables take it.

    Attributes
    ----------
    name, state : str
        Its state is ``now``, ``ahead``, ``lacking`` (nothing but proof), ``fine``, or ``new``
        where nothing was found out yet.
    reasons : list of Reason
        The gravest first.
    numbers, peers : Numbers or None, Peers or None
        ``None`` where nothing was found out, or compared, yet.
    heard_ms, made_ms : int or None
        When its newest reading was taken; when this was found out. [ms, UTC epoch]
    """

    name: str
    state: str
    reasons: list[Reason]
    numbers: Numbers | None = None
    peers: Peers | None = None
    heard_ms: int | None = None
    made_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """What was asked for.

    Attributes
    ----------
    asked, show : str
        What the name holds, and which state or reason; ``all`` for each.
    places : sequence of HomePlace
        All homes that fit, in order.
    all : int
        How many homes may be seen.
    counts : mapping of str to int
        How many of all are of each state and have each reason.
    """

    asked: str
    show: str
    places: Sequence[HomePlace]
    all: int
    counts: Mapping[str, int]


def chosen_homes(backing: Backing, actor: Actor, *, q: str, show: str) -> Chosen:
    """Return the homes that somebody may see and asks for.

    Parameters
    ----------
    q : str
        A part of the name; empty for any.
    show : str
        One of `SHOWS`.
    """
    asked = q.strip().lower()
    if len(asked) > _MOST_SEARCHED or show not in SHOWS:
        raise _not_asked_so(show if show not in SHOWS else q)
    with closing(backing.database.connect()) as connection:
        every = backing.homes.order(connection, now_ms=backing.clock_ms())
    seen = every if actor.everywhere else every.of(actor.at)
    fit = [
        place
        for place, state in zip(seen.places, seen.states, strict=True)
        if asked in place.name and (show in ("all", state) or show in place.reasons)
    ]
    return Chosen(asked=asked, show=show, places=fit, all=len(seen.places), counts=seen.counts)


def homes_at(backing: Backing, places: Sequence[HomePlace]) -> list[Home]:
    """Return all that is told of some homes, in their order."""
    with closing(backing.database.connect()) as connection:
        lines = home_lines(connection, [each.site_id for each in places])
    found = []
    for place in places:
        line = lines.get(place.site_id)
        if line is None or not place.told_yet:
            found.append(Home(name=place.name, state="new", reasons=[]))
            continue
        found.append(
            Home(
                name=place.name,
                state=state_of(place),
                reasons=_reasons.decode(line.told),
                numbers=_numbers.decode(line.numbers),
                peers=None if line.peers is None else _peers.decode(line.peers),
                heard_ms=line.heard_ms,
                made_ms=line.made_ms,
            )
        )
    return found


_reasons = msgspec.json.Decoder(list[Reason])
_numbers = msgspec.json.Decoder(Numbers)
_peers = msgspec.json.Decoder(Peers)


def _not_asked_so(text: str) -> ProblemError:
    return ProblemError(
        422,
        "invalid-request",
        f"{text[:40]!r} is nothing that homes can be chosen by",
        where="query parameters 'show' and 'q'",
        expected=f"show: one of {', '.join(SHOWS)}; q: at most {_MOST_SEARCHED} characters",
        next_step="leave them out for all homes",
        link="/homes",
    )
