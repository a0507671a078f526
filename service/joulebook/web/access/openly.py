"""What is answered to anybody, and what a token is for. Everything else asks who you are."""

from starlette.requests import Request

from joulebook.storage.records import Scope

#: What tells nothing of any site: is it alive, how to get in, what to be careful of.
_OPEN = frozenset({"/healthz", "/readyz", "/sign-in", "/about", "/region", "/worker.js"})
_OPEN_BELOW = ("/assets/", "/welcome/")


def is_the_same_for_all(path: str) -> bool:
    """Tell whether a path is answered without a look at who asks, and so without the database."""
    return path == "/healthz" or path.startswith("/assets/")


def is_open(path: str) -> bool:
    """Tell whether anybody may ask for a path."""
    return path in _OPEN or path.startswith(_OPEN_BELOW)


def takes_tokens(path: str) -> bool:
    """Tell whether programs ask for a path; at all others a token is not looked at."""
    return path.startswith("/api/") or path in ("/metrics", "/readyz")


def is_for(scope: Scope, request: Request) -> bool:
    """Tell whether a token of this scope is for such a request."""
    path = request.url.path
    if scope == "metrics":
        return path == "/metrics"
    if scope == "write":
        return request.method == "POST" and path.endswith("/readings")
    return request.method == "GET" and path.startswith("/api/")
