"""Who asks, as handlers take it."""

from typing import Annotated

from fastapi import Depends, Request

from joulebook.web.access.actor import Actor


async def actor_of(request: Request) -> Actor:
    """Return who asks, as the gate found before the request came here."""
    actor: Actor = request.state.actor
    return actor


Asking = Annotated[Actor, Depends(actor_of)]
