"""The gate: finds out who asks, before any handler sees the request."""

from starlette.types import ASGIApp, Receive, Scope, Send

from joulebook.web.access.actor import Actor

_HOUSE = Actor(name="this machine", kind="house", everywhere="owner")


class Gate:
    """Put who asks into ``request.state.actor``."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        scope.setdefault("state", {})["actor"] = _HOUSE
        await self._app(scope, receive, send)
