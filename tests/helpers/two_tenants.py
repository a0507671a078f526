"""Two tenants on a server with their people, asked as pages ask: narrowed, and by raw SQL."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, ServerPlace
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.storage.organisations import add_organisation
from joulebook.storage.people import Person, add_person, set_password
from joulebook.storage.records import Role
from joulebook.storage.sessions import open_session
from joulebook.storage.welcomes import make_welcome
from tests.helpers.databases import undone

#: Whose row it is, in each of the three tables.
TABLES = {"people": "id", "sessions": "person_id", "welcomes": "person_id"}
HERE = "192.0.2.7"
#: What the server answers whom it does not let.
Refused = psycopg.errors.InsufficientPrivilege


@dataclass(frozen=True)
class House:
    """Two tenants, their people, and the secrets of the links that were made for them.

    Kiln has the studio, Hay the barn. Fin owns Kiln, Gil looks at it, Cleo looks at the studio
    alone; Hana owns Hay, Dan looks at the barn. Ivo looks at Kiln and the barn, Joy at both
    tenants, Kit at the studio and a shed that is of none, Eve at everything. Ada owns everything,
    and nobody may do anything who is called Odd.
    """

    database: Database
    kiln: int
    studio: int
    people: dict[str, Person]
    links: dict[str, str]

    def numbers(self, *names: str) -> set[int]:
        return {self.people[name].id for name in names}

    @contextmanager
    def asked_by(self, name: str, *, owns: bool = False) -> Iterator[Connection]:
        """Give a connection as a page of somebody has it; what it changes is undone."""
        kiln = frozenset({self.kiln} if owns else ())
        whose = Narrowing(
            frozenset({self.studio} if owns else ()),
            kiln,
            people=frozenset(self.numbers(name)),
            looked_after=kiln,
        )
        with self.narrowed_to(whose) as connection:
            yield connection

    @contextmanager
    def narrowed_to(self, whose: Narrowing) -> Iterator[Connection]:
        with narrowed(whose), closing(self.database.connect()) as connection, undone(connection):
            yield connection


def two_tenants(folder: Path, server: ServerPlace) -> House:
    """Make the database that a `House` describes."""
    database = Database.open(folder, server)
    with closing(database.connect()) as connection:
        kiln = add_organisation(connection, "Kiln and Sun", now_ms=1).id
        hay = add_organisation(connection, "Hay and Sons", now_ms=1).id
        studio = add_site(database, "studio", "UTC", organisation_id=kiln).id
        barn = add_site(database, "barn", "UTC", organisation_id=hay).id
        shed = add_site(database, "shed", "UTC").id
        who: tuple[tuple[str, Role | None, dict[int, Role], dict[int, Role]], ...] = (
            ("Ada", "owner", {}, {}),
            ("Eve", "viewer", {kiln: "viewer"}, {}),
            ("Fin", None, {kiln: "owner"}, {}),
            ("Gil", None, {kiln: "viewer"}, {}),
            ("Cleo", None, {}, {studio: "viewer"}),
            ("Ivo", None, {kiln: "viewer"}, {barn: "viewer"}),
            ("Joy", None, {kiln: "viewer", hay: "viewer"}, {}),
            ("Kit", None, {}, {studio: "viewer", shed: "viewer"}),
            ("Hana", None, {hay: "owner"}, {}),
            ("Dan", None, {}, {barn: "viewer"}),
            ("Odd", None, {}, {}),
        )
        there = [
            add_person(connection, name, now_ms=1, everywhere=everywhere, inside=inside, at=at)
            for name, everywhere, inside, at in who
        ]
        links = {}
        for person in there:
            set_password(connection, person.id, f"hash of {person.name}")
            open_session(connection, person.id, address=HERE, agent="a browser", now_ms=1)
            links[person.name] = make_welcome(connection, person.id, now_ms=1)
    return House(database, kiln, studio, {person.name: person for person in there}, links)


def seen(connection: Connection) -> dict[str, set[int]]:
    """Return whose rows a connection sees, by table."""
    return {
        table: {whose for (whose,) in connection.execute(f"SELECT {column} FROM {table}")}
        for table, column in TABLES.items()
    }


def all_of(whose: set[int]) -> dict[str, set[int]]:
    return dict.fromkeys(TABLES, whose)


def nobody_else(whose: set[int]) -> dict[str, set[int]]:
    return {"people": whose, "sessions": whose, "welcomes": set()}


INSERTS = {
    "people": "INSERT INTO people (name, name_folded, made_ms) VALUES ('X', 'x', 1)",
    "sessions": """
        INSERT INTO sessions (secret_sha256, person_id, address, agent, made_ms, seen_ms)
        VALUES ('x', {hana}, '', '', 1, 1)
        """,
    "welcomes": """
        INSERT INTO welcomes (secret_sha256, person_id, made_ms, ends_ms)
        VALUES ('x', {hana}, 1, 2)
        """,
}
CHANGES = (
    "UPDATE people SET password = 'x'",
    "UPDATE people SET disabled_ms = 1",
    "DELETE FROM sessions",
    "DELETE FROM welcomes",
)


ADDS_AN_OWNER = (
    "INSERT INTO people (name, name_folded, everywhere, made_ms) VALUES ('X', 'x', 'owner', 1)"
)


def refused(connection: Connection, statement: str) -> bool:
    """Tell whether a statement is refused; its transaction goes on."""
    connection.execute("SAVEPOINT tried")
    try:
        connection.execute(statement)
    except Refused:
        connection.execute("ROLLBACK TO SAVEPOINT tried")
        return True
    return False
