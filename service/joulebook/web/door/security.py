"""Headers that every answer carries, and HEAD for every GET."""

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: What plotly writes into a page's head as it starts: an element that it fills by rules, and
#: the style sheet of its maps, which its script holds whole.
_WRITTEN_STYLE = re.compile(rb"""createElement\("style"\)[^']{0,200}\.textContent='([^'\\]*)'""")

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
#: Browsers that came by TLS once come by nothing else for a year (RFC 6797).
_TLS_ONLY = "max-age=31536000"


def security_headers(plotly: bytes) -> dict[str, str]:
    """Return the headers of every answer.

    Nothing is loaded from elsewhere, and no script or style sheet stands in a page. Two
    exceptions are plotly's: the style sheets that it writes, by their hashes, and styles of
    single elements. Measured: with neither, drawing a day's figure breaks the policy 12 times,
    and the titles of its parts fall out of their places.

    Parameters
    ----------
    plotly : bytes
        Its script, as it is served.
    """
    hashes = (f"'sha256-{each}'" for each in _style_hashes(plotly))
    policy = (
        "default-src 'self'",
        "style-src 'self'",
        " ".join(("style-src-elem 'self'", *hashes)),
        "style-src-attr 'unsafe-inline'",
        "img-src 'self' data:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
    return {"Content-Security-Policy": "; ".join(policy), **_HEADERS}


def _style_hashes(plotly: bytes) -> Iterable[str]:
    for sheet in (b"", *(found[1] for found in _WRITTEN_STYLE.finditer(plotly))):
        yield base64.b64encode(hashlib.sha256(sheet).digest()).decode()


class SecurityHeaders:
    """Add the headers to every answer; answers say ``no-cache`` unless they say otherwise.

    Parameters
    ----------
    headers : mapping of str to str
        What `security_headers` returned.
    secure : bool
        Whether browsers reach us by TLS, although a request may not show it.
    """

    def __init__(self, app: ASGIApp, *, headers: Mapping[str, str], secure: bool) -> None:
        self._app = app
        self._headers = headers
        self._secure = secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and its answer back with the headers."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(self._headers)
                headers.setdefault("Cache-Control", "no-cache")
                if self._secure or scope["scheme"] == "https":
                    headers["Strict-Transport-Security"] = _TLS_ONLY
            await send(message)

        await self._app(scope, receive, send_with_headers)


class HeadAsGet:
    """Answer HEAD as GET without the body. FastAPI's routes know only the method they name."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, HEAD as GET, and the answer to HEAD back without its body."""
        if scope.get("method") != "HEAD":
            await self._app(scope, receive, send)
            return

        async def send_without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self._app({**scope, "method": "GET"}, receive, send_without_body)
