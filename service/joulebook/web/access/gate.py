"""The gate: finds out who asks before any handler sees a request, and turns strangers away."""

from urllib.parse import quote

from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from joulebook.errors import JoulebookError
from joulebook.ingest.throttle import Throttle
from joulebook.storage.narrowing import narrow
from joulebook.web.access.actor import NOBODY, Actor
from joulebook.web.access.knowing import Knowing, asked_address
from joulebook.web.access.openly import is_for, is_open, is_the_same_for_all, takes_tokens
from joulebook.web.access.sharing import SHARED
from joulebook.web.access.who import Asked, asked
from joulebook.web.problems import ProblemError, answer, problem_of, wants_page


class Gate:
    """Put who asks into ``request.state.actor``, or answer why he gets no further.

    Parameters
    ----------
    guesses : Throttle
        Of those who guess at tokens.
    """

    def __init__(self, app: ASGIApp, *, guesses: Throttle) -> None:
        self._app = app
        self._knowing = Knowing(guesses)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on to the handlers, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        refusal: Response | None = None
        now = Asked(NOBODY, asked_address(request))
        # A server may begin a request in what is left of the one before on the same connection.
        narrow(None)
        try:
            if not is_the_same_for_all(request.url.path):
                now = await self._who(request)
            request.state.actor = now.actor
            asked.set(now)
            narrow(now.reads)
            if request.url.path.startswith(SHARED):
                scope = _in_place(scope, now.address)
            else:
                refusal = await self._refusal(request, now.actor)
        except ProblemError as problem:
            refusal = answer(request, problem)
        except JoulebookError as error:
            refusal = answer(request, problem_of(error))
        await (refusal or self._app)(scope, receive, send)

    async def _who(self, request: Request) -> Asked:
        try:
            return await run_in_threadpool(self._knowing.who, request)
        except (JoulebookError, ProblemError):
            # Whether we are ready is told most of all when the database cannot be asked.
            if request.url.path == "/readyz":
                return Asked(reads=None)
            raise

    async def _refusal(self, request: Request, actor: Actor) -> Response | None:
        path = request.url.path
        if is_open(path) or (path == "/metrics" and actor.may_watch()):
            return None
        if actor.kind == "token":
            if actor.grant is not None and is_for(actor.grant.scope, request):
                return None
            if request.method not in ("GET", "POST"):
                return None  # no handler has it, as the answer will say
            raise _not_for_this(actor)
        if actor.kind != "nobody":
            if path == "/metrics":
                raise _not_for_this(actor)
            return None
        owned = await run_in_threadpool(self._knowing.is_owned, request)
        if not owned:
            raise _no_owner_yet()
        if request.method == "GET" and wants_page(request):
            return RedirectResponse(f"/sign-in?next={quote(asked_address(request), safe='/')}", 303)
        raise _not_signed_in(request)


def _in_place(scope: Scope, address: str) -> Scope:
    """Return the request as if it had asked for an address of ours."""
    path, _, query = address.partition("?")
    return {**scope, "path": path, "raw_path": path.encode(), "query_string": query.encode()}


def _no_owner_yet() -> ProblemError:
    return ProblemError(
        401,
        "not-signed-in",
        "this joulebook has no owner yet, and you ask from another machine",
        where="this joulebook",
        expected="its owner, who chooses a name and a password first",
        next_step="open the link that `joulebook serve` printed as it started",
        link="/sign-in",
        headers={"WWW-Authenticate": 'Bearer realm="joulebook"'},
    )


def _not_signed_in(request: Request) -> ProblemError:
    # A browser that is told of Basic asks for name and password in a window of its own.
    basic = takes_tokens(request.url.path) and "sec-fetch-mode" not in request.headers
    challenge = 'Basic realm="joulebook", charset="UTF-8"' if basic else 'Bearer realm="joulebook"'
    return ProblemError(
        401,
        "not-signed-in",
        "nobody is signed in, or the name or token is not known here",
        where="cookie, or header Authorization",
        expected="a session, or HTTP Basic with a token's name and secret",
        next_step="sign in; for programs make a token",
        link="/sign-in",
        headers={"WWW-Authenticate": challenge},
    )


def _not_for_this(actor: Actor) -> ProblemError:
    return ProblemError(
        403,
        "not-yours",
        f"this is not for {actor.name}",
        where="who asks: a session, or header Authorization",
        expected="a token for it: one that reads the API, writes readings, or reads the metrics",
        next_step="make a token for what you want to do",
    )
