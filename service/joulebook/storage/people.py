"""People: who may sign in, and what each may see or change."""

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined, listed, newest_id, on_server
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Role

_NAME = re.compile(r"\w[\w .'-]{0,39}")
#: How the audit log calls those who are no people.
_TAKEN = frozenset({"this machine", "command line", "nobody", "joulebook"})
_OWNERS = "SELECT 1 FROM people WHERE everywhere = 'owner' AND password IS NOT NULL"
# Of all, nobody may do anything elsewhere.
_ELSEWHERE = "row_security_active('people') AND id NOT IN (SELECT * FROM kept_people())"
_FORGET = (
    "DELETE FROM organisation_roles WHERE person_id = ?",
    "DELETE FROM roles WHERE person_id = ?",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may sign in.

    Attributes
    ----------
    id, name : int and str
        He signs in with the name, in capitals or small letters.
    everywhere : Role or None
        What he may do at every site.
    inside : mapping of organisation id to Role
        What he may do at every site of an organisation, also at those added later; an owner of
        one adds sites and people to it.
    at : mapping of site id to Role
        What he may do at single sites.
    elsewhere : bool
        Whether he may do something that who asks does not look after; not all of it is listed.
    invited : bool
        He has no password yet: only a welcome link lets him in.
    made_ms, disabled_ms : int, and int or None
        When he was added, and when he was shut out. [ms, UTC epoch]
    """

    id: int
    name: str
    everywhere: Role | None = None
    inside: Mapping[int, Role] = field(default_factory=dict)
    at: Mapping[int, Role] = field(default_factory=dict)
    elsewhere: bool = False
    invited: bool = True
    made_ms: int
    disabled_ms: int | None = None


@names_faults
def has_owner(connection: Connection) -> bool:
    """Tell whether an owner of every site has ever set a password. From then on it stays so."""
    # Who may not see the owner is told that there is one.
    asked = "has_owner()" if on_server(connection) else f"EXISTS ({_OWNERS})"
    found = connection.execute(f"SELECT {asked}")
    return bool(found.fetchone()[0])


@names_faults
def people(connection: Connection) -> list[Person]:
    """Return everybody who may be seen, in the order of their names."""
    elsewhere = _ELSEWHERE if on_server(connection) else "FALSE"
    at = _roles(connection, "SELECT person_id, site_id, role FROM roles")
    inside = _roles(connection, "SELECT person_id, organisation_id, role FROM organisation_roles")
    rows = connection.execute(
        f"""
        SELECT id, name, everywhere, {elsewhere}, password IS NULL, made_ms, disabled_ms
        FROM people
        ORDER BY name_folded
        """  # noqa: S608 -- one of two texts of ours
    )
    return [
        Person(
            id=number,
            name=name,
            everywhere=everywhere,
            inside=inside.get(number, {}),
            at=at.get(number, {}),
            elsewhere=bool(more),
            invited=bool(invited),
            made_ms=made_ms,
            disabled_ms=disabled_ms,
        )
        for number, name, everywhere, more, invited, made_ms, disabled_ms in rows
    ]


def _roles(connection: Connection, query: str) -> dict[int, dict[int, Role]]:
    """Return roles by person, then by what they are of."""
    found: dict[int, dict[int, Role]] = {}
    for person_id, of_what, role in connection.execute(query):
        found.setdefault(person_id, {})[of_what] = role
    return found


def person_named(connection: Connection, name: str) -> Person:
    """Return the person of a name.

    Raises
    ------
    UsageError
        If there is none.
    """
    there = people(connection)
    for one in there:
        if folded(one.name) == folded(name):
            return one
    raise UsageError(
        f"there is nobody called {name[:80]!r}",
        where="name",
        expected="one of " + ", ".join(one.name for one in there) if there else "a person",
        next_step="list them with `joulebook person list`",
    )


@names_faults
def add_person(
    connection: Connection,
    name: str,
    *,
    now_ms: int,
    everywhere: Role | None = None,
    inside: Mapping[int, Role] | None = None,
    at: Mapping[int, Role] | None = None,
) -> Person:
    """Add somebody who has no password yet.

    Raises
    ------
    UsageError
        If the name has no proper form or is taken.
    """
    shown = spaced(name)
    name_folded = folded(shown)
    if _NAME.fullmatch(shown) is None or name_folded in _TAKEN:
        raise UsageError(
            f"{name[:80]!r} cannot be the name of a person",
            where="name",
            expected="1 to 40 letters, digits, spaces and . - ', and no name of ours",
            next_step="choose another name",
        )
    with joined(connection):
        # Without RETURNING: somebody of whom nothing is said yet, nobody sees but who sees all.
        added = connection.execute(
            """
            INSERT INTO people (name, name_folded, everywhere, made_ms)
            VALUES (?, ?, ?, ?)
            ON CONFLICT DO NOTHING
            """,
            (shown, name_folded, everywhere, now_ms),
        )
        if not added.rowcount:
            raise UsageError(
                f"there is somebody called {shown!r} already",
                where="name",
                expected="a name that nobody else has",
                next_step="choose another name",
            )
        person = Person(id=newest_id(connection), name=shown, everywhere=everywhere, made_ms=now_ms)
        return _say_roles(connection, person, inside or {}, at or {})


@names_faults
def change_roles(
    connection: Connection,
    person: Person,
    *,
    everywhere: Role | None,
    inside: Mapping[int, Role],
    at: Mapping[int, Role],
) -> Person:
    """Change what somebody may see and change, with effect on his next request.

    Raises
    ------
    UsageError
        If nobody would be left who may do everything.
    """
    with joined(connection):
        if everywhere != "owner":
            _keep_an_owner(connection, person)
        connection.execute("UPDATE people SET everywhere = ? WHERE id = ?", (everywhere, person.id))
        for statement in _FORGET:
            connection.execute(statement, (person.id,))
        return _say_roles(connection, replace(person, everywhere=everywhere), inside, at)


@names_faults
def change_roles_among(
    connection: Connection,
    person: Person,
    *,
    organisation_ids: Collection[int],
    site_ids: Collection[int],
    inside: Mapping[int, Role],
    at: Mapping[int, Role],
) -> None:
    """Change what somebody may do in some organisations and at some sites, and nothing else."""
    of_organisations, organisations = listed(connection, sorted(organisation_ids))
    of_sites, sites = listed(connection, sorted(site_ids))
    with joined(connection):
        connection.execute(
            f"{_FORGET[0]} AND organisation_id IN {of_organisations}",
            (person.id, organisations),
        )
        connection.execute(f"{_FORGET[1]} AND site_id IN {of_sites}", (person.id, sites))
        _say_roles(connection, person, inside, at)


@names_faults
def set_disabled(connection: Connection, person: Person, *, disabled_ms: int | None) -> Person:
    """Shut somebody out, at once; or with ``None`` let him in again, by signing in.

    Raises
    ------
    UsageError
        If nobody would be left who may do everything.
    """
    with joined(connection):
        if disabled_ms is not None:
            _keep_an_owner(connection, person)
            connection.execute("DELETE FROM sessions WHERE person_id = ?", (person.id,))
        connection.execute(
            "UPDATE people SET disabled_ms = ? WHERE id = ?", (disabled_ms, person.id)
        )
    return replace(person, disabled_ms=disabled_ms)


@names_faults
def set_password(connection: Connection, person_id: int, kept: str) -> None:
    """Keep the hash of somebody's new password, and sign him out everywhere."""
    with joined(connection):
        connection.execute("UPDATE people SET password = ? WHERE id = ?", (kept, person_id))
        connection.execute("DELETE FROM sessions WHERE person_id = ?", (person_id,))


@names_faults
def password_of(connection: Connection, name: str) -> tuple[int, str, str] | None:
    """Return id, name and the password's hash of somebody who may sign in, by his name."""
    row: tuple[int, str, str] | None = connection.execute(
        """
        SELECT id, name, password
        FROM people
        WHERE name_folded = ? AND password IS NOT NULL AND disabled_ms IS NULL
        """,
        (folded(name),),
    ).fetchone()
    return row


def spaced(name: str) -> str:
    """Return a name as it is shown: one form of each letter, one space between words."""
    return " ".join(unicodedata.normalize("NFKC", name).split())


def folded(name: str) -> str:
    """Return a name as it is compared: as it is shown, in small letters."""
    return spaced(name).casefold()


def _say_roles(
    connection: Connection, person: Person, inside: Mapping[int, Role], at: Mapping[int, Role]
) -> Person:
    connection.executemany(
        "INSERT INTO roles (person_id, site_id, role) VALUES (?, ?, ?)",
        [(person.id, site_id, role) for site_id, role in at.items()],
    )
    connection.executemany(
        "INSERT INTO organisation_roles (person_id, organisation_id, role) VALUES (?, ?, ?)",
        [(person.id, organisation_id, role) for organisation_id, role in inside.items()],
    )
    return replace(person, inside=dict(inside), at=dict(at))


def _keep_an_owner(connection: Connection, person: Person) -> None:
    """Raise where nobody but this person could do everything."""
    others = [
        one
        for one in people(connection)
        if one.everywhere == "owner" and not one.invited and one.disabled_ms is None
    ]
    if [one.id for one in others] == [person.id]:
        raise UsageError(
            f"{person.name} is the only owner of every site who can sign in",
            where="person",
            expected="another one who can do everything",
            next_step="make another owner first",
        )
