"""How much the pages and the API take: of an address, of somebody who is known, and in all.

Limits by address come before it is asked who somebody is, so that they protect that question too.
A request that is one too many is answered 429 or 503 with the seconds to wait, and looked at no
further.
"""

import asyncio
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from joulebook.ingest.pace import Bucket, Buckets, is_this_machine, neighbourhood
from joulebook.web.door.body import Bodies, BodyLimits
from joulebook.web.problems import ProblemError, answer


@dataclass(frozen=True, slots=True, kw_only=True)
class WebLimits:
    """What the pages and the API take; a page is about fifteen requests."""

    address_per_s: float = 50.0  # requests of one address
    address_at_once: float = 400.0
    total_per_s: float = 1000.0  # of all, and of this machine, where a proxy may stand for many
    total_at_once: float = 5000.0
    actor_per_s: float = 50.0  # of one person, token or link, wherever from
    actor_at_once: float = 400.0
    address_under_way: int = 32  # requests that are being answered
    total_under_way: int = 128
    path_bytes: int = 2048
    query_bytes: int = 4096
    query_parameters: int = 64
    headers: int = 100
    body: BodyLimits = field(default_factory=BodyLimits)


class Limits:
    """Turns away what is too much, before anything else looks at a request."""

    def __init__(self, app: ASGIApp, limits: WebLimits) -> None:
        self._app = app
        self._limits = limits
        self._all = Bucket(limits.total_per_s, limits.total_at_once, 0.0)
        self._addresses = Buckets(limits.address_per_s, limits.address_at_once)
        self._under_way: Counter[str] = Counter()
        self._bodies = Bodies(limits.body)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or say why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        address = "" if request.client is None else request.client.host
        with ExitStack() as place:
            try:
                self._check_form(request)
                self._check_rate(address)
                place.enter_context(self._place(address))
                body = place.enter_context(self._bodies.of(request, receive))
            except ProblemError as problem:
                await answer(request, problem)(scope, receive, send)
            else:
                await self._app(scope, body, send)

    def _check_rate(self, address: str) -> None:
        now_s = asyncio.get_running_loop().time()
        buckets = [self._all]
        if _is_of_the_network(address):
            buckets.append(self._addresses.of(neighbourhood(address), now_s))
        wait_s = max(bucket.wait_s(now_s) for bucket in buckets)
        if wait_s > 0:
            raise too_fast(wait_s, "the address that you ask from")
        for bucket in buckets:
            bucket.take(1, now_s)

    @contextmanager
    def _place(self, address: str) -> Iterator[None]:
        """Count a request for as long as it is being answered."""
        key = neighbourhood(address)
        many = (
            _is_of_the_network(address) and self._under_way[key] >= self._limits.address_under_way
        )
        if many or self._under_way.total() >= self._limits.total_under_way:
            raise _busy()
        self._under_way[key] += 1
        try:
            yield
        finally:
            self._under_way[key] -= 1
            if not self._under_way[key]:
                del self._under_way[key]

    def _check_form(self, request: Request) -> None:
        limits = self._limits
        path = request.scope.get("raw_path") or request.url.path.encode()
        query: bytes = request.scope["query_string"]
        if len(path) > limits.path_bytes or len(query) > limits.query_bytes:
            what = f"{len(path)} bytes of path and {len(query)} of query"
            most = f"at most {limits.path_bytes} and {limits.query_bytes}"
            raise _too_much(414, f"an address of {what}", "the address", most)
        if query.count(b"&") >= limits.query_parameters:
            raise _too_much(
                400,
                f"{query.count(b'&') + 1} query parameters",
                "the address, after ?",
                f"at most {limits.query_parameters}",
            )
        if "transfer-encoding" in request.headers and "content-length" in request.headers:
            # A proxy may take the one and we the other: what is between would be a request of its
            # own to one of the two (RFC 9112 §11.2).
            raise ProblemError(
                400,
                "invalid-request",
                "the length of the content is said twice, in two ways",
                where="headers Content-Length and Transfer-Encoding",
                expected="one of the two",
                next_step="leave one away",
                headers={"Connection": "close"},
            )
        if len(request.scope["headers"]) > limits.headers:
            raise _too_much(
                431,
                f"{len(request.scope['headers'])} headers",
                "the request's headers",
                f"at most {limits.headers}",
            )


class ActorLimits:
    """Turns away whoever asks too often, from however many addresses; the gate has named him."""

    def __init__(self, app: ASGIApp, limits: WebLimits) -> None:
        self._app = app
        self._actors = Buckets(limits.actor_per_s, limits.actor_at_once)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or say why not."""
        actor = scope.get("state", {}).get("actor")
        if actor is not None and actor.kind in ("person", "token", "share"):
            now_s = asyncio.get_running_loop().time()
            bucket = self._actors.of(f"{actor.kind} {actor.name}", now_s)
            wait_s = bucket.wait_s(now_s)
            if wait_s > 0:
                problem = too_fast(wait_s, actor.name)
                await answer(Request(scope), problem)(scope, receive, send)
                return
            bucket.take(1, now_s)
        await self._app(scope, receive, send)


def too_fast(wait_s: float, whose: str) -> ProblemError:
    """Return what is told to somebody who asks too often."""
    seconds = int(wait_s) + 1
    return ProblemError(
        429,
        "too-fast",
        "too many requests came in a short time, and this one was not looked at",
        where=whose,
        expected=f"the next request in {seconds} s",
        next_step="wait, and ask again more slowly",
        headers={"Retry-After": str(seconds)},
    )


def _busy() -> ProblemError:
    return ProblemError(
        503,
        "busy",
        "as many requests are being answered as may be at once",
        where="this joulebook",
        expected="fewer requests at the same time",
        next_step="ask again in a moment",
        headers={"Retry-After": "2"},
    )


def _too_much(status: int, what: str, where: str, expected: str) -> ProblemError:
    return ProblemError(
        status,
        "too-long",
        what,
        where=where,
        expected=expected,
        next_step="ask for less at once",
    )


def _is_of_the_network(address: str) -> bool:
    """Tell whether an address is another machine's; a socket of this one may have none at all."""
    return any(sign in address for sign in ".:") and not is_this_machine(address)
