import asyncio

import pytest
from starlette.types import Message, Receive, Scope, Send

from joulebook.web.watch.traffic import NO_ANSWER, Counted, Traffic, kind_of


@pytest.mark.parametrize(
    ("method", "path", "kind"),
    [
        ("GET", "/", "page"),
        ("GET", "/sites/studio", "page"),
        ("HEAD", "/no/such/page", "page"),
        ("POST", "/sites/studio/setup/events", "form"),
        ("POST", "/sign-in", "sign-in"),
        ("GET", "/sign-in", "page"),
        ("GET", "/sites/studio/figures/week", "figure"),
        ("GET", "/api/v1/sites/studio/days", "api"),
        ("POST", "/api/v1/sites/studio/readings", "delivery"),
        ("GET", "/assets/0123/joulebook.css", "asset"),
        ("GET", "/worker.js", "asset"),
        ("GET", "/readyz", "watching"),
        ("GET", "/metrics", "watching"),
    ],
)
def test_kinds_of_addresses(method: str, path: str, kind: str) -> None:
    assert kind_of(method, path) == kind


async def _receive() -> Message:
    raise AssertionError("nobody reads the request")  # pragma: no cover -- nobody does


async def _send(_message: Message) -> None:
    pass


def test_an_answer_is_counted_with_its_status_and_time() -> None:
    async def app(_scope: Scope, _receive: Receive, send: Send) -> None:
        now_s[0] += 0.25
        await send({"type": "http.response.start", "status": 404})
        await send({"type": "http.response.body", "body": b""})

    now_s, traffic = [10.0], Traffic()
    counted = Counted(app, traffic, now_s=lambda: now_s[0])
    asyncio.run(counted({"type": "http", "method": "GET", "path": "/x"}, _receive, _send))
    assert traffic.requests() == {("page", 404): 1}
    assert traffic.took()["page"].sum_s == 0.25


def test_a_sender_that_went_away_is_counted_as_such() -> None:
    async def app(_scope: Scope, _receive: Receive, _send: Send) -> None:
        raise ConnectionResetError

    traffic = Traffic()
    scope = {"type": "http", "method": "POST", "path": "/api/v1/sites/studio/readings"}
    with pytest.raises(ConnectionResetError):
        asyncio.run(Counted(app, traffic)(scope, _receive, _send))
    assert traffic.requests() == {("delivery", NO_ANSWER): 1}
