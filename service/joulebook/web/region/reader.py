"""Finds out which region a request's reader is in, before anything is written for him."""

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from joulebook.web.region.regions import HOUSE, Region, asked_region, read_in, region_of

#: The cookie that holds what a reader chose on this device.
COOKIE = "region"
#: What the cookie says where plain numbers were chosen, whatever the browser asks for.
PLAIN = "plain"

_NEGOTIATED = ("text/html", "application/json")


class ReadersRegion:
    """Set the region in which an answer is written.

    What the reader chose on this device comes first, then what the site's owner entered for it
    (`settle`, once the site is known), then what the browser asks for.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and say in the answer what it depends on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_told(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if headers.get("content-type", "").startswith(_NEGOTIATED):
                    headers.add_vary_header("Accept-Language, Cookie")
            await send(message)

        request = Request(scope)
        chosen = chosen_region(request)
        asked = asked_region(request.headers.get("accept-language", ""))
        with read_in(chosen or asked or HOUSE, chosen=chosen is not None):
            await self._app(scope, receive, send_told)


def chosen_region(request: Request) -> Region | None:
    """Return the region that the reader chose on this device, or ``None``."""
    chosen = request.cookies.get(COOKIE, "")
    return HOUSE if chosen == PLAIN else region_of(chosen)
