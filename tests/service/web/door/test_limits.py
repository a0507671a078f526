"""What is turned away, and how: before anybody is asked who he is."""

import asyncio
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.types import Message, Receive, Scope, Send

from joulebook.ingest.inbox import Inbox
from joulebook.storage.database import Database
from joulebook.web.access.actor import Actor
from joulebook.web.app import build_app
from joulebook.web.door.limits import ActorLimits, Limits, WebLimits
from joulebook.web.watch.health import Health
from tests.helpers.limited_clients import client_at, problem
from tests.helpers.pages import NOW_MS

# Rates


def test_an_address_may_ask_so_often() -> None:
    client = client_at("192.0.2.7", WebLimits(address_per_s=0.1, address_at_once=3))
    assert [client.get("/").status_code for _ in range(4)] == [200] * 4  # the last one overdraws
    late = client.get("/")
    assert problem(late) == (429, "too-fast")
    # One too many, at one in 10 s: and what is turned away does not make it longer.
    assert late.headers["Retry-After"] == "10"
    assert client.get("/").headers["Retry-After"] == "10"
    client._transport.client = ("192.0.2.8", 50000)  # type: ignore[attr-defined]
    assert client.get("/").status_code == 200


@pytest.mark.parametrize("address", ["127.0.0.1", "::1", "testclient", ""])
def test_this_machine_is_held_to_the_total_only(address: str) -> None:
    client = client_at(address, WebLimits(address_at_once=1, total_per_s=0.1, total_at_once=5))
    assert [client.get("/").status_code for _ in range(7)] == [200] * 6 + [429]


def test_all_together_may_ask_so_often() -> None:
    client = client_at("192.0.2.7", WebLimits(total_per_s=0.1, total_at_once=2))
    assert [client.get("/").status_code for _ in range(4)] == [200, 200, 200, 429]


# How many at once


async def requests_at_once(limits: WebLimits, addresses: list[str]) -> list[int]:
    """Return what each request is answered, all of them under way at the same time."""
    everybody_is_here = asyncio.Event()
    statuses: list[int] = []

    async def slow(_scope: Scope, _receive: Receive, send: Send) -> None:
        await everybody_is_here.wait()
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def nothing() -> Message:  # pragma: no cover -- nobody reads
        return {"type": "http.disconnect"}

    async def note(message: Message) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    door = Limits(slow, limits)
    tasks = [asyncio.ensure_future(door(scope_of(one), nothing, note)) for one in addresses]
    await asyncio.sleep(0)  # each has come as far as it can
    everybody_is_here.set()
    await asyncio.gather(*tasks)
    tasks = [asyncio.ensure_future(door(scope_of(one), nothing, note)) for one in addresses[:1]]
    await asyncio.gather(*tasks)  # the places are free again
    return statuses


def scope_of(address: str) -> Scope:
    return {
        "type": "http",
        "method": "GET",
        "path": "/",
        "query_string": b"",
        "headers": [],
        "client": (address, 5) if address else None,
    }


def test_so_many_requests_of_an_address_are_under_way() -> None:
    limits = WebLimits(address_under_way=2)
    assert asyncio.run(requests_at_once(limits, ["192.0.2.7"] * 3 + ["127.0.0.1"] * 3 + [""])) == [
        503,
        *[200] * 6,
        200,
    ]


def test_so_many_requests_in_all_are_under_way() -> None:
    limits = WebLimits(total_under_way=2)
    assert asyncio.run(requests_at_once(limits, ["127.0.0.1"] * 3)) == [503, 200, 200, 200]


# The form of a request


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [
        ("/" + "a" * 2047, 0, 200),
        ("/" + "a" * 2048, 0, 414),
        ("/?" + "a" * 4096, 0, 200),
        ("/?" + "a" * 4097, 0, 414),
        ("/?" + "a=1&" * 63 + "a=1", 0, 200),
        ("/?" + "a=1&" * 64 + "a=1", 0, 400),
        ("/", 80, 200),
        ("/", 101, 431),
    ],
)
def test_addresses_and_headers_may_be_so_long(path: str, headers: int, status: int) -> None:
    client = client_at("127.0.0.1", WebLimits())
    answer = client.get(path, headers=[(f"X-{number}", "1") for number in range(headers)])
    assert answer.status_code == status
    if status != 200:
        assert problem(answer) == (status, "too-long")


# Somebody who is known


def actor_client(actor: Actor | None) -> TestClient:
    app = FastAPI()

    @app.get("/")
    async def take() -> None:
        """Take anything."""

    app.add_middleware(ActorLimits, limits=WebLimits(actor_per_s=0.1, actor_at_once=2))

    async def named(scope: Scope, receive: Receive, send: Send) -> None:
        if actor is not None:
            scope["state"] = {"actor": actor}
        await app(scope, receive, send)

    return TestClient(named)


@pytest.mark.parametrize("kind", ["person", "token", "share"])
def test_somebody_who_is_known_may_ask_so_often(kind: Any) -> None:
    client = actor_client(Actor(name="ada", kind=kind))
    assert [client.get("/").status_code for _ in range(4)] == [200, 200, 200, 429]
    late = client.get("/")
    assert problem(late) == (429, "too-fast")
    assert late.json()["where"] == "ada"


@pytest.mark.parametrize("actor", [None, Actor(name="this machine", kind="house")])
def test_who_is_not_known_is_held_to_his_address(actor: Actor | None) -> None:
    client = actor_client(actor)
    assert {client.get("/").status_code for _ in range(5)} == {200}


# The whole application


def test_a_person_gets_a_page_and_security_headers(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    app = build_app(
        database,
        clock_ms=lambda: NOW_MS,
        health=lambda: Health(ready=True),
        inbox=Inbox(database, clock_ms=lambda: NOW_MS),
        wrote=lambda: None,
        version="1.2.3",
        limits=WebLimits(address_at_once=0, address_per_s=0.1),
    )
    client = TestClient(app, client=("192.0.2.7", 50000))
    assert client.get("/healthz").status_code == 200
    page = client.get("/sites/studio", headers={"Accept": "text/html"})
    assert (page.status_code, page.headers["content-type"]) == (429, "text/html; charset=utf-8")
    assert "Too many requests" in page.text
    assert page.headers["X-Content-Type-Options"] == "nosniff"
    assert client.head("/sites/studio").text == ""
    database.close()


def test_what_is_no_request_is_passed_on() -> None:
    seen: list[str] = []

    async def app(scope: Scope, _receive: Receive, _send: Send) -> None:
        seen.append(scope["type"])

    async def never() -> Any:  # pragma: no cover -- nobody asks
        raise AssertionError

    async def nowhere(_message: Message) -> None:  # pragma: no cover -- nothing is said
        raise AssertionError

    asyncio.run(Limits(app, WebLimits())({"type": "lifespan"}, never, nowhere))
    assert seen == ["lifespan"]
