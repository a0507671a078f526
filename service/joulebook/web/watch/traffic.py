"""Counts requests and how long their answers take: by kind of address, never by address."""

import time
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Literal

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from joulebook.storage.durations import Durations

Kind = Literal["page", "form", "sign-in", "figure", "asset", "api", "delivery", "watching"]

#: What a sender that went away before its answer is counted as; no HTTP status is 0.
NO_ANSWER = 0


def kind_of(method: str, path: str) -> Kind:
    """Return what kind of address a request is for; a site's or a person's name is in none."""
    if path in ("/healthz", "/readyz", "/metrics"):
        return "watching"
    if path.startswith("/api/"):
        return "delivery" if method == "POST" else "api"
    if path.startswith("/assets/") or path == "/worker.js":
        return "asset"
    if method == "POST":
        return "sign-in" if path == "/sign-in" else "form"
    return "figure" if "/figures/" in path else "page"


class Traffic:
    """What was asked of the service since it started. It belongs to the event loop."""

    def __init__(self) -> None:
        self._requests: Counter[tuple[str, int]] = Counter()
        self._took: dict[str, Durations] = {}

    def note(self, kind: Kind, status: int, took_s: float) -> None:
        """Count an answer."""
        self._requests[kind, status] += 1
        self._took.setdefault(kind, Durations()).note(took_s)

    def requests(self) -> Mapping[tuple[str, int], int]:
        """Return how many requests there were, by kind and status."""
        return dict(self._requests)

    def took(self) -> Mapping[str, Durations]:
        """Return how long answers took, by kind."""
        return {kind: durations.copy() for kind, durations in list(self._took.items())}


class Counted:
    """An application whose answers are counted.

    Parameters
    ----------
    now_s : callable
        Seconds of a clock that never goes back.
    """

    def __init__(
        self, app: ASGIApp, traffic: Traffic, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._app = app
        self._traffic = traffic
        self._now_s = now_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and count what came of it."""
        began_s, status = self._now_s(), NO_ANSWER

        async def noting(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, noting)
        finally:
            kind = kind_of(scope["method"], scope["path"])
            self._traffic.note(kind, status, self._now_s() - began_s)
