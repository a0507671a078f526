"""What a copy that only takes readings in answers to those who watch it: no pages, no API."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import replace

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from joulebook.errors import UnavailableError
from joulebook.ingest.throttle import Throttle
from joulebook.storage.database import Database
from joulebook.storage.quarantine import SetAside, set_aside
from joulebook.storage.tokens import check_token
from joulebook.web.access.credentials import credentials_of
from joulebook.web.access.direct import is_direct
from joulebook.web.access.knowing import address_of
from joulebook.web.watch.exposition import CONTENT_TYPE
from joulebook.web.watch.health import Health
from joulebook.web.watch.metrics import metrics_text
from joulebook.web.watch.process import this_process

_HEADERS = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}


def watch_app(
    database: Database,
    *,
    clock_ms: Callable[[], int],
    health: Callable[[], Health],
    version: str,
    guesses: Throttle,
) -> Starlette:
    """Return the application that answers ``/healthz``, ``/readyz`` and ``/metrics``.

    That it is alive, and whether it is ready, is told to anybody; why not, and its numbers, to
    this very machine and to a token for metrics.

    Parameters
    ----------
    guesses : Throttle
        Of those who guess at tokens.
    """
    watching = _Watching(database, clock_ms, health, version, guesses)
    return Starlette(
        routes=[
            Route("/healthz", watching.alive),
            Route("/readyz", watching.ready),
            Route("/metrics", watching.metrics),
        ]
    )


class _Watching:
    def __init__(
        self,
        database: Database,
        clock_ms: Callable[[], int],
        health: Callable[[], Health],
        version: str,
        guesses: Throttle,
    ) -> None:
        self._database = database
        self._clock_ms = clock_ms
        self._health = health
        self._version = version
        self._guesses = guesses

    async def alive(self, _request: Request) -> Response:
        return JSONResponse({"status": "alive"}, headers=_HEADERS)

    async def ready(self, request: Request) -> Response:
        health = await run_in_threadpool(self._health)
        told: dict[str, object] = {"ready": health.ready}
        if await run_in_threadpool(self._may_watch, request):
            told["problems"] = list(health.problems)
        return JSONResponse(told, 200 if health.ready else 503, _HEADERS)

    async def metrics(self, request: Request) -> Response:
        if not await run_in_threadpool(self._may_watch, request):
            challenge = {"WWW-Authenticate": 'Basic realm="joulebook", charset="UTF-8"'}
            return PlainTextResponse(
                "not for everybody: ask from this machine, or with a token for metrics\n",
                401,
                _HEADERS | challenge,
            )
        text = await run_in_threadpool(self._metrics)
        return PlainTextResponse(text, headers=_HEADERS | {"Content-Type": CONTENT_TYPE})

    def _metrics(self) -> str:
        health = replace(self._health(), set_aside=self._set_aside())
        return metrics_text(health, this_process(), version=self._version)

    def _set_aside(self) -> list[SetAside]:
        try:
            with closing(self._database.connect()) as connection:
                return set_aside(connection, None)
        except UnavailableError:
            return []  # the database is away, of which other numbers tell

    def _may_watch(self, request: Request) -> bool:
        if is_direct(request):
            return True
        given = credentials_of(request.headers.get("authorization", ""))
        if given is None:
            return False
        name, secret = given
        account, address, now_ms = name or "", address_of(request), self._clock_ms()
        if self._guesses.attempt(account, address, now_s=now_ms / 1000) > 0:
            return False
        try:
            grant = check_token(self._database, name, secret, now_ms=now_ms)
        except UnavailableError:
            return False
        if grant is None:
            return False
        self._guesses.succeeded(account, address)
        return grant.scope == "metrics"
