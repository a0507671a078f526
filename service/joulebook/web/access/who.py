"""Who asks, as handlers and templates take it."""

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from joulebook.web.access.actor import NOBODY, Actor


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks, and for which of our addresses (path and query)."""

    actor: Actor = NOBODY
    address: str = "/"


#: Of the request under way; the gate sets it, and every page can say who is signed in.
asked: ContextVar[Asked] = ContextVar("asked", default=Asked())  # noqa: B039 - frozen


async def actor_of(request: Request) -> Actor:
    """Return who asks, as the gate found before the request came here."""
    actor: Actor = request.state.actor
    return actor


Asking = Annotated[Actor, Depends(actor_of)]
