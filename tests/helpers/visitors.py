"""A service with an owner, and those who come to its door: people, programs and strangers.

Two sites, ``studio`` and ``barn``. Ada owns everything, Ben owns the studio, Cleo looks at the
studio, Dan looks at the barn, Eve looks at everything. Where there are tenants, the studio belongs
to Kiln and Sun, which Fin owns and Gil looks at, and the barn to Hay and Sons, which Hana owns.
Their passwords are hashed once for all tests: argon2id takes its time on purpose.
"""

import base64
import re
from contextlib import closing
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.organisations import add_organisation
from joulebook.storage.passwords import hash_password
from joulebook.storage.people import Person, add_person, person_named, set_password
from joulebook.storage.records import Role, Scope, Site
from joulebook.storage.sessions import open_session
from joulebook.storage.tokens import add_token
from joulebook.web.access.knowing import proof_of
from joulebook.web.access.rules import AccessRules
from tests.helpers.pages import NOW_MS, application

PASSWORD = "four words nobody guesses"
#: Where everybody but the house asks.
OUTSIDE = "http://power.example.org"
#: An address for documentation (RFC 5737).
FAR = "192.0.2.7"
DAY_MS = 86_400_000


@cache
def kept_password() -> str:
    """Return the hash of the password that all of them have."""
    return hash_password(PASSWORD)


@dataclass(slots=True)
class Door:
    """The application, what stands behind it, and a clock that a test may set."""

    app: FastAPI
    database: Database
    studio: Site
    barn: Site
    clock: list[int] = field(default_factory=lambda: [NOW_MS])

    def browser(self, *, at: str = FAR, base: str = OUTSIDE) -> TestClient:
        """Return a browser in which nobody is signed in."""
        return TestClient(
            self.app,
            base_url=base,
            client=(at, 50000),
            headers={"Origin": base, "Accept": "text/html"},
            raise_server_exceptions=False,
            follow_redirects=False,
        )

    def signed_in(self, name: str, *, at: str = FAR, ago_ms: int = 0) -> "Visitor":
        """Return a browser in which somebody signed in some time ago and was not seen since."""
        with closing(self.database.connect()) as connection:
            person = person_named(connection, name)
            secret = open_session(
                connection, person.id, address=at, agent="a browser", now_ms=self.clock[0] - ago_ms
            )
        client = self.browser(at=at)
        client.cookies.set("joulebook", secret)
        return Visitor(client, proof_of(secret), secret)

    def program(self, secret: str, name: str | None = None, *, at: str = FAR) -> TestClient:
        """Return a program that sends a token: by HTTP Basic with its name, else as a Bearer's."""
        given = f"Bearer {secret}" if name is None else basic(name, secret)
        return TestClient(
            self.app,
            base_url=OUTSIDE,
            client=(at, 50000),
            headers={"Authorization": given, "Origin": OUTSIDE},
            raise_server_exceptions=False,
            follow_redirects=False,
        )

    def token(self, name: str, scope: Scope, site: Site | None = None) -> str:
        """Make a token and return its secret."""
        return add_token(self.database, site, name, scope=scope, now_ms=self.clock[0])


@dataclass(frozen=True, slots=True)
class Visitor:
    """A browser in which somebody is signed in, and what its forms must hold."""

    client: TestClient
    proof: str
    secret: str

    def post(self, path: str, **fields: str) -> Any:
        """Send a form as a page of ours does."""
        return self.client.post(path, data={"proof": self.proof, **fields})


def basic(name: str, secret: str) -> str:
    """Return the header of HTTP Basic."""
    return "Basic " + base64.b64encode(f"{name}:{secret}".encode()).decode()


def opened_door(
    data_dir: Path,
    *,
    owned: bool = True,
    rules: AccessRules | None = None,
    tenants: bool = False,
    server: ServerPlace | None = None,
) -> Door:
    """Return a service with its two sites, and its people if it is ``owned``."""
    database = Database.open(data_dir, server)
    kiln = hay = None
    if tenants:
        with closing(database.connect()) as connection:
            kiln = add_organisation(connection, "Kiln and Sun", now_ms=NOW_MS).id
            hay = add_organisation(connection, "Hay and Sons", now_ms=NOW_MS).id
    studio = add_site(
        *(database, "studio", "Europe/Lisbon"),
        organisation_id=kiln,
        battery_ah=200.0,
        battery_cells=16,
    )
    barn = add_site(database, "barn", "Europe/Lisbon", organisation_id=hay)
    clock = [NOW_MS]
    app = application(database, clock_ms=lambda: clock[0], rules=rules or AccessRules())
    door = Door(app, database, studio, barn, clock)
    if owned:
        everybody: tuple[tuple[str, Role | None, dict[int, Role]], ...] = (
            ("Ada", "owner", {}),
            ("Ben", None, {studio.id: "owner"}),
            ("Cleo", None, {studio.id: "viewer"}),
            ("Dan", None, {barn.id: "viewer"}),
            ("Eve", "viewer", {}),
        )
        with closing(database.connect()) as connection:
            for name, everywhere, at in everybody:
                person = add_person(connection, name, now_ms=NOW_MS, everywhere=everywhere, at=at)
                set_password(connection, person.id, kept_password())
    if owned and kiln and hay:
        _add_tenants(database, kiln, hay)
    return door


def _add_tenants(database: Database, kiln: int, hay: int) -> None:
    everybody: tuple[tuple[str, dict[int, Role]], ...] = (
        ("Fin", {kiln: "owner"}),
        ("Gil", {kiln: "viewer"}),
        ("Hana", {hay: "owner"}),
    )
    with closing(database.connect()) as connection:
        for name, inside in everybody:
            person = add_person(connection, name, now_ms=NOW_MS, inside=inside)
            set_password(connection, person.id, kept_password())


def person_of(door: Door, name: str) -> Person:
    """Return somebody as the database holds him now."""
    with closing(door.database.connect()) as connection:
        return person_named(connection, name)


def link_in(page: str) -> str:
    """Return the path of the link or the secret that a page shows this once."""
    shown = re.search(r'<p class="secret"><code>([^<]+)</code>', page)
    assert shown is not None
    return re.sub(r"^https?://[^/]+", "", shown[1])
