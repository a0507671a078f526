"""Organisations: each looks after homes of its own and sees nothing of the others'."""

from dataclasses import dataclass

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import next_mark
from joulebook.storage.people import folded, spaced
from joulebook.storage.records import Site

LONGEST_NAME = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Organisation:
    """Who looks after some homes.

    Attributes
    ----------
    id, name : int and str
        No two have the same name, in capitals or small letters.
    made_ms : int
        When it was added. [ms, UTC epoch]
    sites : int
        How many sites belong to it.
    """

    id: int
    name: str
    made_ms: int
    sites: int = 0


@names_faults
def organisations(connection: Connection) -> list[Organisation]:
    """Return all of them, in the order of their names."""
    rows = connection.execute(
        """
        SELECT id, name, made_ms,
            (SELECT count(*) FROM sites WHERE sites.organisation_id = organisations.id)
        FROM organisations
        ORDER BY name_folded
        """
    )
    return [
        Organisation(id=number, name=name, made_ms=made_ms, sites=count)
        for number, name, made_ms, count in rows
    ]


def organisation_named(connection: Connection, name: str) -> Organisation:
    """Return the organisation of a name.

    Raises
    ------
    UsageError
        If there is none.
    """
    there = organisations(connection)
    for one in there:
        if folded(one.name) == folded(name):
            return one
    raise UsageError(
        f"there is no organisation {name[:80]!r}",
        where="organisation",
        expected="one of " + ", ".join(one.name for one in there) if there else "an organisation",
        next_step="make it with `joulebook organisation add`, or correct the name",
    )


@names_faults
def add_organisation(connection: Connection, name: str, *, now_ms: int) -> Organisation:
    """Add an organisation to which nothing belongs yet.

    Raises
    ------
    UsageError
        If the name has no proper form or is taken.
    """
    shown = spaced(name)
    if not (shown.isprintable() and 0 < len(shown) <= LONGEST_NAME):
        raise UsageError(
            f"{name[:80]!r} cannot be the name of an organisation",
            where="name",
            expected=f"1 to {LONGEST_NAME} characters on one line",
            next_step="choose another name",
        )
    with joined(connection):
        number = connection.execute(
            """
            INSERT INTO organisations (id, name, name_folded, made_ms)
            VALUES (?, ?, ?, ?)
            ON CONFLICT (name_folded) DO NOTHING
            RETURNING id
            """,
            (next_mark(connection), shown, folded(shown), now_ms),
        ).fetchone()
    if number is None:
        raise UsageError(
            f"there is an organisation called {shown!r} already",
            where="name",
            expected="a name that no other one has",
            next_step="choose another name",
        )
    return Organisation(id=number[0], name=shown, made_ms=now_ms)


@names_faults
def delete_organisation(connection: Connection, organisation: Organisation) -> None:
    """Delete an organisation; its sites stay and belong to none.

    What people might do because of it ends at once, and so do its tokens: they are deleted, for
    one that belonged to nothing would read everything.
    """
    with joined(connection):
        for statement in (
            "DELETE FROM tokens WHERE organisation_id = ?",
            "DELETE FROM organisation_roles WHERE organisation_id = ?",
            "UPDATE sites SET organisation_id = NULL WHERE organisation_id = ?",
            "DELETE FROM organisations WHERE id = ?",
        ):
            connection.execute(statement, (organisation.id,))


@names_faults
def place_site(
    connection: Connection,
    site: Site,
    organisation: Organisation | None,
    *,
    who: str,
    now_ms: int,
) -> None:
    """Let a site belong to an organisation, or to none.

    What was said for the site alone stays: roles at it, its tokens, its links.

    Parameters
    ----------
    who : str
        For the audit log: a line for the organisation that loses it, and one for the other.
    """
    to = None if organisation is None else organisation.id
    if site.organisation_id == to:
        return
    lines = [
        ("take site out of organisation", site.organisation_id, ""),
        ("put site into organisation", to, "" if organisation is None else organisation.name),
    ]
    with joined(connection):
        connection.execute("UPDATE sites SET organisation_id = ? WHERE id = ?", (to, site.id))
        for action, number, detail in lines:
            if number is not None:
                change = Audited(
                    at_ms=now_ms,
                    who=who,
                    site=site.name,
                    action=action,
                    detail=detail,
                    organisation_id=number,
                )
                note_change(connection, change)


@names_faults
def site_id_of(connection: Connection, name: str) -> int | None:
    """Return the id of the site of a name, which costs less than the site."""
    row = connection.execute("SELECT id FROM sites WHERE name = ?", (name,)).fetchone()
    return None if row is None else int(row[0])


@names_faults
def sites_inside(connection: Connection, organisation_id: int) -> list[int]:
    """Return the ids of the sites of an organisation."""
    rows = connection.execute("SELECT id FROM sites WHERE organisation_id = ?", (organisation_id,))
    return [site_id for (site_id,) in rows]
