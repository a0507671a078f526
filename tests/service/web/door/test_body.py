"""Content that is too long, too slow, or too much of it at once."""

import asyncio
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from fastapi.testclient import TestClient
from starlette.requests import Request
from starlette.types import Message

from joulebook.web.door.body import Bodies, Body, BodyLimits
from joulebook.web.door.limits import WebLimits
from joulebook.web.problems import ProblemError
from tests.helpers.limited_clients import client_at, problem

LIMITS = BodyLimits(
    form_bytes=100, file_bytes=500, readings_bytes=1000, total_bytes=1500, patience_s=0.05
)


@pytest.fixture
def client() -> TestClient:
    return client_at("127.0.0.1", WebLimits(body=LIMITS))


def in_parts(*sizes: int) -> Iterator[bytes]:
    """Yield content part by part: it is sent chunked then, and its length is not said before."""
    for size in sizes:
        yield bytes(size)


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/people", 100),
        ("/sites/studio/setup", 100),
        ("/x/readings", 1000),
        ("/sites/studio/setup/events/7/photos", 500),
        ("/sites/studio/setup/events/7/photos/1/remove", 100),
        ("/sites/studio/setup/events/x/photos", 100),
    ],
)
def test_every_post_may_be_so_long(client: TestClient, path: str, most: int) -> None:
    assert client.post(path, content=bytes(most)).json() == {"size": most}
    assert problem(client.post(path, content=bytes(most + 1))) == (413, "too-long")
    assert client.post(path, content=in_parts(most - 10, 10)).json() == {"size": most}


def receiving(*messages: Message) -> Any:
    """Return what gives these messages, then waits for ever."""
    waiting = list(messages)

    async def receive() -> Message:
        if waiting:
            return waiting.pop(0)
        await asyncio.Event().wait()
        raise AssertionError  # pragma: no cover -- waited for ever

    return receive


def part(size: int, *, more: bool = True) -> Message:
    return {"type": "http.request", "body": bytes(size), "more_body": more}


def request(path: str = "/people", **headers: str) -> Request:
    pairs = [(name.replace("_", "-").encode(), each.encode()) for name, each in headers.items()]
    return Request({"type": "http", "path": path, "headers": pairs, "query_string": b""})


async def all_of(body: Body) -> int:
    """Read content to its end; return how long it is."""
    while (await body()).get("more_body"):
        pass
    return body.size


def test_chunks_are_counted_as_they_come() -> None:
    async def read() -> None:
        with Bodies(LIMITS).of(request(), receiving(part(60), part(41))) as body:
            await all_of(body)

    with pytest.raises(ProblemError, match="longer than 100 bytes") as caught:
        asyncio.run(read())
    assert caught.value.status == 413


def test_a_length_that_is_said_is_believed_before_anything_is_read() -> None:
    async def read(length: str) -> None:
        with Bodies(LIMITS).of(request(content_length=length), receiving()):
            pass

    with pytest.raises(ProblemError, match="longer than 100 bytes"):
        asyncio.run(read("9" * 500))
    asyncio.run(read("100"))
    asyncio.run(read("many"))  # whoever reads it counts


def test_content_that_does_not_come_is_not_waited_for() -> None:
    async def read() -> None:
        with Bodies(LIMITS).of(request(), receiving(part(5))) as body:
            await all_of(body)

    with pytest.raises(ProblemError, match="5 bytes of it are here") as caught:
        asyncio.run(read())
    assert (caught.value.status, caught.value.headers) == (408, {"Connection": "close"})


def test_what_has_come_earns_time_for_the_rest() -> None:
    bodies = Bodies(BodyLimits(patience_s=20.0, slowest_bytes_per_s=1000.0))
    assert bodies.patience_s(0) == 20.0
    assert bodies.patience_s(5000) == 25.0


def test_all_content_together_is_bounded_until_it_is_answered() -> None:
    bodies = Bodies(LIMITS)

    async def read() -> None:
        with ExitStack() as under_way:
            for _ in range(1):
                readings = request("/x/readings"), receiving(part(1000, more=False))
                assert await all_of(under_way.enter_context(bodies.of(*readings))) == 1000
            late = under_way.enter_context(
                bodies.of(request("/x/readings"), receiving(part(501, more=False)))
            )
            with pytest.raises(ProblemError, match="more is being sent here") as caught:
                await all_of(late)
            assert (caught.value.status, caught.value.headers) == (503, {"Retry-After": "5"})
        again = receiving(part(501, more=False))
        with bodies.of(request("/x/readings"), again) as body:
            assert await all_of(body) == 501

    asyncio.run(read())


def test_the_end_of_the_connection_is_waited_for_as_long_as_it_takes() -> None:
    async def read() -> str:
        gone: Message = {"type": "http.disconnect"}
        with Bodies(LIMITS).of(request(), receiving(gone, gone)) as body:
            first = await body()
            return f"{first['type']} {(await body())['type']}"

    assert asyncio.run(read()) == "http.disconnect http.disconnect"

    async def wait() -> None:
        with Bodies(LIMITS).of(request(), receiving(part(0, more=False))) as body:
            await body()
            async with asyncio.timeout(0.2):  # longer than the patience with content
                await body()

    with pytest.raises(TimeoutError):
        asyncio.run(wait())
