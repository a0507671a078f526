"""Every route of the application, for everybody who may come, at one's own site and another.

Routes are taken from the application itself and fall under rules, so that a new one is held to
them from its first day. No cell changes anything: what is posted is of no form that is taken, and
a handler must ask who somebody is before it looks at that.
"""

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from typing import Any

import pytest
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient

from joulebook.storage.organisations import organisation_named
from joulebook.storage.people import add_person
from joulebook.storage.records import Scope
from joulebook.storage.shares import add_share, revoke_share, shares_of
from joulebook.storage.tokens import insert_token, revoke_token, tokens_of
from tests.helpers.databases import write
from tests.helpers.pages import HOUSE, NOW_MS
from tests.helpers.postgres import PostgresServer
from tests.helpers.visitors import DAY_MS, OUTSIDE, Door, opened_door

SITES = ("studio", "barn")
#: Answered to anybody, with what tells nothing of a site.
OPEN = re.compile(
    r"/(healthz|readyz|sign-in|about|region|worker\.js|assets/.+|welcome/.+)", flags=re.ASCII
)
#: Pages of a site that only its owner opens; all others a viewer opens too.
OWNERS_ONLY = re.compile(r"/sites/[^/]+/(setup|shares|alerts)(/.+)?")
#: What concerns all sites, or the people: for owners of everything.
#: And for owners of an organisation, who are shown and change what is of theirs.
KEEPERS = re.compile(r"/(audit|people(?!/me\b)(/.+)?|setup/.+|organisations(/.+)?)")
#: For owners of everything alone.
HOUSEKEEPERS = re.compile(r"POST /organisations(/\d+/(sites|delete))?")
VALUES = {"day": "2026-03-03", "week": "2026-W09", "number": "1", "token": "1", "path": "x"}
REFUSALS = ("not-signed-in", "not-yours", "unknown-site")


@dataclass(frozen=True)
class Role:
    """Somebody who comes: how he asks, and what he may see and change by the rules."""

    comes: Callable[[Door, str], TestClient]  # to a door, from an address
    sees: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    signed_in: bool = False
    keeper: bool = False  # adds sites and people, to everything or to an organisation
    housekeeper: bool = False  # may do everything
    onlooker: bool = False  # may see what is of every site, or none
    watches: bool = False
    reads: bool = False  # the API, with a token
    writes: tuple[str, ...] = ()  # readings, with a token
    fetches: str = ""  # the one address that his link was sealed for
    owned: bool = True  # whether there is an owner when he comes


def program(
    scope: Scope,
    site: str | None,
    door: Door,
    at: str,
    *,
    revoked: bool = False,
    organisation: str = "",
) -> TestClient:
    given = {"studio": door.studio, "barn": door.barn, None: None}[site]
    if organisation:
        with closing(door.database.connect()) as connection:
            of = organisation_named(connection, organisation)
            secret = insert_token(
                *(connection, None, "tool"), scope=scope, now_ms=NOW_MS, organisation=of
            )
    else:
        secret = door.token("tool", scope, given)
    if revoked:
        with closing(door.database.connect()) as connection:
            revoke_token(connection, tokens_of(connection)[-1].id, now_ms=1)
    return door.program(secret, "tool", at=at)


def person(name: str, door: Door, at: str, *, ago_ms: int = 0) -> TestClient:
    client = door.signed_in(name, at=at, ago_ms=ago_ms).client
    client.headers["Accept"] = "application/json"
    return client


def shut_out(door: Door, at: str) -> TestClient:
    """Return somebody who owned everything, and whose session was not even ended."""
    with closing(door.database.connect()) as connection:
        gone = add_person(connection, "Fay", now_ms=1, everywhere="owner")
        client = person("Fay", door, at)
        connection.execute("UPDATE people SET disabled_ms = 1 WHERE id = ?", (gone.id,))
    return client


def stranger(
    door: Door, at: str, *, base: str = OUTSIDE, headers: dict[str, str] | None = None
) -> TestClient:
    client = door.browser(at=at, base=base)
    client.headers.update({"Accept": "application/json", **(headers or {})})
    return client


def near(
    door: Door, _at: str, *, base: str = HOUSE, headers: dict[str, str] | None = None
) -> TestClient:
    return stranger(door, "127.0.0.1", base=base, headers=headers)


def holder(
    door: Door, at: str, *, revoked: bool = False, made_ms: int = NOW_MS, now_ms: int = NOW_MS
) -> TestClient:
    """Return whoever has a link to a page, and asks for all else with a seal of that page."""
    client = stranger(door, at)
    with closing(door.database.connect()) as connection:
        rows = {NOW_MS - 1000: {"power": 1500.0}}
        write(connection, door.studio, "pv", rows)
        door.clock[0] = made_ms
        secret = add_share(
            *(connection, door.studio, "/sites/studio"),
            made_by="Ada",
            now_ms=made_ms,
            lasts_ms=DAY_MS,
        )
        page = client.get(f"/shared/{secret}").text
        door.clock[0] = now_ms
        if revoked:
            revoke_share(connection, door.studio, shares_of(connection, 1)[0].id, now_ms=1)
    seal = re.search(r"/latest\?seal=([\w.]+)", page)
    assert seal is not None
    client.params = client.params.set("seal", seal[1])
    return client


EVERYTHING: dict[str, Any] = {
    "sees": SITES,
    "changes": SITES,
    "signed_in": True,
    "keeper": True,
    "housekeeper": True,
    "onlooker": True,
    "watches": True,
}
ROLES = {
    "nobody": Role(stranger),
    "nobody, at this machine": Role(near, watches=True),
    "nobody, before there is an owner": Role(stranger, owned=False),
    "this machine, before there is an owner": Role(near, owned=False, **EVERYTHING),
    "this machine, through a proxy": Role(
        partial(near, headers={"X-Forwarded-For": "::1"}), owned=False
    ),
    "this machine, by another name": Role(partial(near, base=OUTSIDE), owned=False),
    "owner of everything": Role(partial(person, "Ada"), **EVERYTHING),
    "owner of the studio": Role(
        partial(person, "Ben"), sees=("studio",), changes=("studio",), signed_in=True
    ),
    "viewer of the studio": Role(partial(person, "Cleo"), sees=("studio",), signed_in=True),
    "viewer of the barn": Role(partial(person, "Dan"), sees=("barn",), signed_in=True),
    "viewer of everything": Role(partial(person, "Eve"), sees=SITES, signed_in=True, onlooker=True),
    "session that has ended": Role(partial(person, "Ada", ago_ms=14 * DAY_MS)),
    "session of somebody who was shut out": Role(shut_out),
    "owner of an organisation": Role(
        partial(person, "Fin"),
        sees=("studio",),
        changes=("studio",),
        signed_in=True,
        keeper=True,
    ),
    "viewer of an organisation": Role(partial(person, "Gil"), sees=("studio",), signed_in=True),
    "owner of another organisation": Role(
        partial(person, "Hana"), sees=("barn",), changes=("barn",), signed_in=True, keeper=True
    ),
    "token that reads an organisation": Role(
        partial(program, "read", None, organisation="Kiln and Sun"), sees=("studio",), reads=True
    ),
    "token that writes": Role(partial(program, "write", "studio"), writes=("studio",)),
    "token that reads the studio": Role(
        partial(program, "read", "studio"), sees=("studio",), reads=True
    ),
    "token that reads everything": Role(partial(program, "read", None), sees=SITES, reads=True),
    "token for metrics": Role(partial(program, "metrics", None), watches=True),
    "revoked token that wrote": Role(partial(program, "write", "studio", revoked=True)),
    "revoked token that read": Role(partial(program, "read", "studio", revoked=True)),
    "revoked token for metrics": Role(partial(program, "metrics", None, revoked=True)),
    "link to a page": Role(holder, fetches="/api/v1/sites/studio/latest"),
    "revoked link": Role(partial(holder, revoked=True)),
    "link that has ended": Role(partial(holder, made_ms=NOW_MS - DAY_MS)),
}


def cells(door: Door) -> Iterator[tuple[str, str, str | None]]:
    """Yield method, address and site of every request: each route at both sites, if it has one."""
    for context in iter_route_contexts(door.app.routes):
        path = str(context.path)
        for site in SITES if "{site}" in path else (None,):
            named = path.replace("{site}", str(site))
            filled = re.sub(r"{(\w+)(:\w+)?}", lambda part: VALUES.get(part[1], "1"), named)
            for method in sorted((context.methods or set()) - {"HEAD"}):
                yield method, filled, site


def is_let_in(role: Role, method: str, path: str, site: str | None) -> bool | None:
    """Return what the rules say; ``None`` where a viewer may be shown a page or not."""
    if OPEN.fullmatch(path) or path == role.fetches:
        return True
    if path == "/metrics":
        return role.watches
    if path.startswith("/api/"):
        if method != "GET":
            return site in role.writes
        return site in role.sees if site else role.signed_in or role.reads
    if site is not None:
        if not role.signed_in or site not in role.sees:
            return False
        if method == "POST":
            return site in role.changes
        return site in role.changes or (None if OWNERS_ONLY.fullmatch(path) else True)
    if HOUSEKEEPERS.fullmatch(f"{method} {path}"):
        return role.housekeeper
    if KEEPERS.fullmatch(path):
        return role.keeper
    if path == "/quarantine":
        return role.onlooker
    return role.signed_in


def was_let_in(client: TestClient, method: str, path: str) -> bool:
    """Ask, posting what no handler takes, and tell whether the answer is of what was asked for."""
    sent = {"Content-Type": "image/png"} if method == "POST" else {}
    answer = client.request(method, path, content=b"x" if sent else None, headers=sent)
    assert answer.status_code != 500, f"{method} {path}"
    kind = answer.json()["type"] if "problem" in answer.headers.get("content-type", "") else ""
    assert not kind.endswith("not-from-here"), f"{method} {path} looks at the form first"
    gone = "link is good no longer" in answer.text and not path.startswith("/welcome/")
    return not gone and not kind.endswith(REFUSALS) and answer.status_code not in (401, 403, 429)


@pytest.fixture(scope="module", params=["file", pytest.param("server", marks=pytest.mark.outside)])
def doors(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[bool, Door]]:
    """Two services, with an owner and without; whoever comes leaves them as they were.

    On a server its own wall stands behind the program's: it must not keep out who may come.
    """
    postgres: PostgresServer | None = (
        None if request.param == "file" else request.getfixturevalue("postgres")
    )
    there = {
        owned: opened_door(
            tmp_path_factory.mktemp("door"),
            owned=owned,
            tenants=True,
            server=None if postgres is None else postgres.place(),
        )
        for owned in (True, False)
    }
    yield there
    for door in there.values():
        door.database.close()


@pytest.mark.parametrize("name", ROLES)
def test_everybody_gets_where_the_rules_say_and_nowhere_else(
    name: str, doors: dict[bool, Door]
) -> None:
    role = ROLES[name]
    door = doors[role.owned]
    # From an address of his own: an address may ask so often and no more.
    client = role.comes(door, f"192.0.2.{1 + list(ROLES).index(name)}")
    found = {cell: (is_let_in(role, *cell), was_let_in(client, *cell[:2])) for cell in cells(door)}
    assert {cell: each for cell, each in found.items() if each[0] not in (None, each[1])} == {}


def test_a_link_fetches_what_its_page_shows_and_nothing_else(doors: dict[bool, Door]) -> None:
    client = holder(doors[True], "198.51.100.1")
    # The seal of `holder` is that of the newest readings; of another site's it is none.
    assert client.get("/api/v1/sites/studio/latest").status_code == 200
    assert client.get("/api/v1/sites/barn/latest").status_code == 401
    assert client.get("/sites/studio/figures/week").status_code == 401


def test_how_many_cells_there_are(
    doors: dict[bool, Door], record_property: Callable[[str, object], None]
) -> None:
    requests = list(cells(doors[True]))
    routes = {(method, re.sub(r"/(studio|barn)\b", "", path)) for method, path, _ in requests}
    size = len(requests) * len(ROLES)
    record_property("cells", size)
    sys.stdout.write(
        f"{len(routes)} routes, {len(requests)} requests, {len(ROLES)} roles: {size} cells\n"
    )
    assert len(requests) > len(routes) > 60
