import asyncio

from starlette.types import Message, Receive, Scope, Send

from joulebook.web.region.reader import ReadersRegion
from joulebook.web.region.regions import HOUSE, Region, current


def test_what_is_no_request_passes_as_it_is() -> None:
    seen: list[tuple[str, Region]] = []

    async def app(scope: Scope, _receive: Receive, _send: Send) -> None:
        seen.append((scope["type"], current()))

    async def nothing() -> Message:
        return {}  # pragma: no cover - the application above asks for nothing

    async def nowhere(message: Message) -> None:
        raise AssertionError(message)  # pragma: no cover - nor does it answer

    # ASGI, "Lifespan protocol": a scope that is no request and has no headers.
    asyncio.run(ReadersRegion(app)({"type": "lifespan"}, nothing, nowhere))
    assert seen == [("lifespan", HOUSE)]
