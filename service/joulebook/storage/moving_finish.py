"""The end of a move: what others act upon is written, compared and shown in one transaction.

Tokens, channels and marks come last, so that nobody writes to a site, computes it or tells of it
before it is whole.
"""

from collections.abc import Sequence

from joulebook.errors import DataRefusedError, UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.marking import next_mark
from joulebook.storage.moving_sides import Side, called_on
from joulebook.storage.moving_source import roles_of
from joulebook.storage.moving_tables import LATE
from joulebook.storage.moving_units import LetGo, Newest, Rows, Told, Unit, differences
from joulebook.storage.names import COMING
from joulebook.storage.people import person_named


def late_units(marks: Sequence[int] = ()) -> list[Unit]:
    """Return the pieces that others act upon, in the order in which they are written."""
    return [LetGo(), *(Rows(table, marks) for table in LATE), Newest()]


def finish(
    one: Side, other: Side, *, source: object, now_ms: int, same_people: Sequence[str]
) -> list[tuple[Unit, Told]]:
    """Write the rest of a site, compare it and give it its name: all of it or nothing.

    Returns
    -------
    list of (Unit, Told)
        Each piece, and what both sides have of it.

    Raises
    ------
    UsageError
        If the name was taken meanwhile, or somebody of ``same_people`` is not on both sides.
    DataRefusedError
        If a secret is there already, or what was written is not what was read.
    """
    connection = other.connection
    done: list[tuple[Unit, Told]] = []
    with transaction(connection):
        _refuse_taken(one, other)
        places = called_on(one, ("mark",))["mark"]
        for unit in late_units([next_mark(connection) for _ in places]):
            content = unit.read(one)
            told = unit.told(content)
            if unit.told(unit.read(other)) != told:
                unit.write(other, content)
            done.append((unit, told))
        # When all is written: triggers count in one table what is written to another.
        for unit, told in done:
            for found in differences(told, unit.told(unit.read(other))):
                raise DataRefusedError(
                    f"the copy of {one.name} is not the same: {found}",
                    where=f"site {one.name}",
                    expected="the same on both sides; nothing is shown, the source untouched",
                    next_step="run it again; if it stays, verify both databases",
                )
        _keep_roles(one, other, same_people)
        connection.execute("UPDATE audit SET site = ? WHERE site = ?", (one.name, other.name))
        connection.execute("UPDATE sites SET name = ? WHERE id = ?", (one.name, other.site_id))
        detail = f"{one.name} from {source}"
        note_change(
            connection,
            Audited(at_ms=now_ms, who="command line", site=None, action="move site", detail=detail),
        )
    return done


def _refuse_taken(one: Side, other: Side) -> None:
    connection = other.connection
    if connection.execute("SELECT 1 FROM sites WHERE name = ?", (one.name,)).fetchone():
        raise UsageError(
            f"a site {one.name!r} was added to the target meanwhile",
            where=f"site {one.name}",
            expected="a name that no site of the target has",
            next_step=f"delete one of them; the copy is called {COMING}{one.name} there",
        )
    for table in ("tokens", "shares"):
        for (secret,) in one.connection.execute(
            f"SELECT secret_sha256 FROM {table} WHERE site_id = ?",  # noqa: S608 -- one of two
            (one.site_id,),
        ).fetchall():
            found = connection.execute(
                f"SELECT sites.name FROM {table} LEFT JOIN sites ON sites.id = site_id "  # noqa: S608 -- the same
                "WHERE secret_sha256 = ? AND (site_id IS NULL OR site_id <> ?)",
                (secret, other.site_id),
            ).fetchone()
            if found is not None:
                raise DataRefusedError(
                    f"a secret of {one.name} opens something at the target already",
                    where=f"{table} of site {found[0] or 'every site'}",
                    expected="secrets that are used once",
                    next_step="delete that site, or the copy of it there",
                )


def _keep_roles(one: Side, other: Side, same_people: Sequence[str]) -> None:
    """Give roles to those of whom the mover says that they are the same person on both sides."""
    held = dict(roles_of(one))
    for name in same_people:
        if name not in held:
            raise UsageError(
                f"{name!r} has no role at site {one.name} of the source",
                where="--same-person",
                expected="one of " + ", ".join(held) if held else "nobody: there are no roles",
                next_step="leave it out, or correct the name",
            )
        person = person_named(other.connection, name)
        other.connection.execute(
            "INSERT INTO roles (person_id, site_id, role) VALUES (?, ?, ?)",
            (person.id, other.site_id, held[name]),
        )
