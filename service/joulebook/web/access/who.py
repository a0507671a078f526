"""Who asks, as handlers and templates take it."""

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from joulebook.storage.narrowing import Narrowing
from joulebook.web.access.actor import NOBODY, Actor


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks, for which of our addresses (path and query), and whose rows that may read."""

    actor: Actor = NOBODY
    address: str = "/"
    reads: Narrowing | None = Narrowing()  # noqa: RUF009 - frozen


#: Of the request under way; the gate sets it, and every page can say who is signed in.
asked: ContextVar[Asked] = ContextVar("asked", default=Asked())  # noqa: B039 - frozen


async def actor_of(request: Request) -> Actor:
    """Return who asks, as the gate found before the request came here."""
    actor: Actor = request.state.actor
    return actor


Asking = Annotated[Actor, Depends(actor_of)]
