"""Where a handler forgets to ask who may see what, the server still shows nothing of other tenants.

Holes are made in the program's own wall. In a file they show what they should not, which proves
that they are holes; on a server the same requests show nothing.
"""

import asyncio
import json
import re
from collections.abc import Iterator, MutableMapping
from contextlib import closing
from dataclasses import dataclass
from typing import Any
from unittest.mock import AsyncMock

import pytest
from fastapi import Request
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient
from starlette.types import Receive, Scope, Send

from joulebook.storage.audit import Audited, note_change
from joulebook.storage.database import transaction
from joulebook.storage.events import Event, add_event
from joulebook.storage.narrowing import Narrowing, narrowed, narrowing
from joulebook.storage.people import add_person
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Refused, Site
from joulebook.storage.tokens import insert_token
from joulebook.web.access.actor import Actor
from joulebook.web.door.limits import ActorLimits
from joulebook.web.sites import site_of
from tests.helpers.databases import write
from tests.helpers.pages import NOW_MS
from tests.helpers.postgres import PostgresServer
from tests.helpers.visitors import Door, opened_door

#: What every row of a site that is written here says of it, somewhere.
MARK = {"studio": "glaze-of-the-studio", "barn": "hay-of-the-barn"}
VALUES = {"day": "2026-03-03", "week": "2026-W09", "number": "1", "path": "x", "token": "1"}


@dataclass(frozen=True)
class Wall:
    """A service, and whether the database keeps tenants apart too."""

    door: Door
    is_second: bool


@pytest.fixture(scope="module", params=["file", pytest.param("server", marks=pytest.mark.outside)])
def wall(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Wall]:
    on_server = request.param == "server"
    postgres: PostgresServer | None = request.getfixturevalue("postgres") if on_server else None
    folder = tmp_path_factory.mktemp("wall")
    server = postgres.place() if postgres else None
    door = opened_door(folder, tenants=True, server=server)
    for site in (door.studio, door.barn):
        mark_everything(door, site)
    yield Wall(door, on_server)
    door.database.close()


def mark_everything(door: Door, site: Site) -> None:
    mark = MARK[site.name]
    with closing(door.database.connect()) as connection:
        write(connection, site, mark, {NOW_MS - 1000: {"power": 1500.0}})
        event = Event(id=0, at_ms=NOW_MS - 5000, kind="other", title=mark, note="", made_ms=NOW_MS)
        add_event(connection, site, event)
        insert_token(connection, site, mark, scope="write", now_ms=NOW_MS)
        note_change(connection, Audited(at_ms=NOW_MS, who="Ada", site=site.name, action=mark))
        refused = Refused(
            site_id=site.id,
            source=mark,
            topic="t",
            payload=mark.encode(),
            reason="not-senml",
            detail=mark,
            received_ms=NOW_MS,
        )
        with transaction(connection):
            put_aside(connection, [refused])


def fin_of(door: Door) -> TestClient:
    """Return the owner of the organisation that the studio belongs to, and the barn does not."""
    return door.signed_in("Fin").client


def pages(door: Door, site: str) -> list[str]:
    """Return the address of everything that can be looked at of a site."""
    found = []
    for context in iter_route_contexts(door.app.routes):
        path = str(context.path)
        if "{site}" in path and "GET" in (context.methods or ()):
            named = path.replace("{site}", site)
            found.append(re.sub(r"{(\w+)(:\w+)?}", lambda part: VALUES.get(part[1], "1"), named))
    assert len(found) > 30
    return found


def showing(client: TestClient, addresses: list[str], mark: str) -> list[str]:
    """Return the addresses whose answers hold a mark."""
    return [address for address in addresses if mark in client.get(address).text]


def test_his_own_is_shown(wall: Wall) -> None:
    addresses = pages(wall.door, "studio")
    assert len(showing(fin_of(wall.door), addresses, MARK["studio"])) >= 5


def test_a_check_that_lets_everybody_see_every_site(
    wall: Wall, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Actor, "may_see", lambda *_: True)
    monkeypatch.setattr(Actor, "may_change", lambda *_: True)
    client, addresses = fin_of(wall.door), pages(wall.door, "barn")
    found = showing(client, addresses, MARK["barn"])
    answers = {client.get(address).status_code for address in addresses}
    listed = {name for name in MARK if name in client.get("/api/v1/sites").text}
    if wall.is_second:
        assert (found, answers, listed) == ([], {404}, {"studio"})
    else:
        assert len(found) >= 5
        assert listed == {"studio", "barn"}


def test_handlers_that_do_not_ask_whose_site_it_is(
    wall: Wall, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The site itself is known to them: what they read of it must be nothing.
    monkeypatch.setitem(wall.door.app.dependency_overrides, site_of, lambda: wall.door.barn)
    monkeypatch.setattr(Actor, "may_change", lambda *_: True)
    client, addresses = fin_of(wall.door), pages(wall.door, "barn")
    # What its own owner has just looked at stands in memory, and is no way around the database.
    monkeypatch.setattr(Actor, "may_see", lambda *_: True)
    owner = wall.door.signed_in("Hana").client
    assert len(showing(owner, addresses, MARK["barn"])) >= 5
    found = showing(client, addresses, MARK["barn"])
    assert (found == []) if wall.is_second else (len(found) >= 5)


def test_checks_that_take_everybody_for_who_runs_the_house(
    wall: Wall, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Actor, "may_run_the_house", lambda *_: True)
    client = fin_of(wall.door)
    told = {
        address: [
            name for name in (MARK["barn"], "Hay and Sons") if name in client.get(address).text
        ]
        for address in ("/audit", "/organisations")
    }
    if wall.is_second:
        assert told == {"/audit": [], "/organisations": []}
        assert MARK["studio"] in client.get("/audit").text
    else:
        assert told == {"/audit": [MARK["barn"]], "/organisations": ["Hay and Sons"]}


def test_homes_that_are_not_chosen_by_who_asks(wall: Wall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("joulebook.web.homes.order.Order.of", lambda order, _ids: order)
    everybody, client = wall.door.signed_in("Ada").client, fin_of(wall.door)
    for address in ("/homes", "/homes.csv", "/api/v1/homes"):
        # Kept at hand for whoever may see all, and then for him.
        assert "barn" in everybody.get(address).text
        assert ("barn" in client.get(address).text) is not wall.is_second


def test_a_request_that_fails_in_the_middle_leaves_the_next_one_its_own(wall: Wall) -> None:
    def fails(request: Request) -> None:
        connection = wall.door.database.connect()
        connection.execute("SELECT count(*) FROM sites")
        raise ArithmeticError(request.url.path)

    wall.door.app.add_api_route("/sites/{site}/fails", fails)
    client, everybody = fin_of(wall.door), wall.door.signed_in("Ada").client
    for _ in range(3):
        assert client.get("/sites/studio/fails").status_code == 500
        assert "barn" in everybody.get("/api/v1/sites").text
        assert everybody.get("/sites/barn/fails").status_code == 500
        assert "barn" not in client.get("/api/v1/sites").text


ONLY_STUDIO, ONLY_BARN = {"studio"}, {"barn"}


@pytest.mark.parametrize(
    ("who", "path", "sites", "organisations"),
    [
        ("Fin", "/people", ONLY_STUDIO, 1),
        ("Cleo", "/sites/studio", ONLY_STUDIO, 0),
        ("Ada", "/people", None, 0),
        ("Eve", "/homes", None, 0),
        ("", "/sign-in", set(), 0),
        ("", "/readyz", None, 0),
        ("", "/healthz", set(), 0),
    ],
)
def test_handlers_may_read_what_the_one_who_asks_may_see(
    wall: Wall,
    who: str,
    path: str,
    sites: set[str] | None,
    organisations: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = read_by(wall.door, monkeypatch, who, path)
    if sites is None:
        assert found is None
    else:
        assert found is not None
        assert names_of(wall.door, found) == sites
        assert len(found.organisations) == organisations


def test_of_several_sites_a_server_reads_the_one_that_is_named(
    wall: Wall, monkeypatch: pytest.MonkeyPatch
) -> None:
    ids = (wall.door.studio.id, wall.door.barn.id)
    with closing(wall.door.database.connect()) as connection:
        add_person(connection, "Ivo", now_ms=1, at=dict.fromkeys(ids, "viewer"))
    both = {"studio", "barn"}
    for path, named in (
        ("/sites/barn", ONLY_BARN),
        ("/api/v1/sites/barn/latest", ONLY_BARN),
        ("/sites/nowhere", both),
        ("/", both),
    ):
        found = read_by(wall.door, monkeypatch, "Ivo", path)
        assert found is not None
        assert names_of(wall.door, found) == (named if wall.is_second else both)


def test_a_request_begins_with_nothing_of_the_one_before(
    wall: Wall,
) -> None:
    # A server may begin one in the context of another: who asks is then found out all the same.
    cookie = fin_of(wall.door).cookies["joulebook"]
    with narrowed(Narrowing(frozenset({99}))):
        answered = asyncio.run(asked_in_this_context(wall.door, cookie))
    assert answered == {"studio"}


async def asked_in_this_context(door: Door, cookie: str) -> set[str]:
    sent: list[bytes] = []
    scope = {
        "type": "http",
        "method": "GET",
        "path": "/api/v1/sites",
        "raw_path": b"/api/v1/sites",
        "query_string": b"",
        "scheme": "http",
        "http_version": "1.1",
        "client": ("192.0.2.7", 50000),
        "server": ("power.example.org", 80),
        "headers": [
            (b"host", b"power.example.org"),
            (b"cookie", f"joulebook={cookie}".encode()),
        ],
    }

    async def send(message: MutableMapping[str, Any]) -> None:
        sent.append(bytes(message.get("body", b"")))

    await door.app(scope, AsyncMock(return_value={"type": "http.request"}), send)
    return {each["name"] for each in json.loads(b"".join(sent))["sites"]}


def names_of(door: Door, reads: Narrowing) -> set[str]:
    return {site.name for site in (door.studio, door.barn) if site.id in reads.sites}


def read_by(door: Door, monkeypatch: pytest.MonkeyPatch, who: str, path: str) -> Narrowing | None:
    """Ask, and return what held as the request had passed the gate."""
    held: list[Narrowing | None] = []
    passed_on = ActorLimits.__call__

    async def noted(limits: ActorLimits, scope: Scope, receive: Receive, send: Send) -> None:
        held.append(narrowing())
        await passed_on(limits, scope, receive, send)

    with monkeypatch.context() as patch:
        patch.setattr(ActorLimits, "__call__", noted)
        client = door.signed_in(who).client if who else door.browser()
        client.get(path)
    [found] = held
    return found
