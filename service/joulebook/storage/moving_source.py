"""What a move leaves at the source, and the source's end: only while it is what was compared."""

from collections.abc import Callable
from contextlib import closing
from typing import Any

from joulebook.errors import UnavailableError
from joulebook.storage.connections import transaction
from joulebook.storage.database import Database
from joulebook.storage.deletion import delete_site
from joulebook.storage.moving_pairs import catalogue_told
from joulebook.storage.moving_rows import HELD, about_stored, about_told
from joulebook.storage.moving_sides import Side, called_on, the_side
from joulebook.storage.moving_tables import LATE
from joulebook.storage.moving_units import Rows, Told
from joulebook.storage.names import COMING
from joulebook.storage.records import Site

#: Something that waits to be told: its channel, what it is about, and when it is next tried.
Waiting = tuple[int, str, int]


def roles_of(side: Side) -> list[tuple[str, str]]:
    """Return who may do what at a site alone."""
    return side.connection.execute(
        """
        SELECT people.name, role
        FROM roles
        JOIN people ON people.id = person_id
        WHERE site_id = ?
        ORDER BY name_folded
        """,
        (side.site_id,),
    ).fetchall()


def stamp_of(side: Side) -> Told:
    """Return what changes whenever something is measured, entered or set aside at a site."""
    mark = side.connection.execute(
        "SELECT mark FROM record_marks WHERE site_id = ?", (side.site_id,)
    ).fetchone()
    stamp: dict[str, Any] = {"readings": mark, **catalogue_told(side)}
    for table in LATE:
        if table.said:
            unit = Rows(table)
            stamp |= unit.told(unit.read(side))
    return stamp


def waiting_of(side: Side) -> list[Waiting]:
    """Return what waits to be told of a site."""
    return side.connection.execute(
        """
        SELECT channel_id, about, next_ms
        FROM alert_deliveries
        WHERE state = 'waiting'
            AND channel_id IN (SELECT id FROM alert_channels WHERE site_id = ?)
        ORDER BY id
        """,
        (side.site_id,),
    ).fetchall()


def end_source(
    source: Database,
    target: Database,
    name: str,
    stamp: Told,
    *,
    who: str,
    now_ms: int,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> int:
    """Delete a site from the source after it was moved; return how many rows went.

    What waited to be told is told by the target from now on. Who is killed between the two lets it
    be told by nobody: nothing is told twice.

    Parameters
    ----------
    stamp : mapping
        What `stamp_of` told of the source when it was compared.

    Raises
    ------
    UnavailableError
        If the site changed after it was compared. Nothing is deleted.
    """
    with closing(source.connect()) as there, closing(target.connect()) as here:
        one, other = the_side(there, name), the_side(here, name)
        take_over(other, close_source(one, stamp))
        gone = Site(id=one.site_id, name=name, timezone="UTC")
        return delete_site(there, gone, who=who, now_ms=now_ms, progress=progress)


def give_up(target: Database, name: str, *, now_ms: int) -> int:
    """Delete what an unfinished move left at the target; return how many rows went.

    Raises
    ------
    UsageError
        If there is nothing of it.
    """
    with closing(target.connect()) as here:
        side = the_side(here, COMING + name)
        left = Site(id=side.site_id, name=side.name, timezone="UTC")
        return delete_site(here, left, who="command line", now_ms=now_ms)


def close_source(one: Side, stamp: Told) -> list[Waiting]:
    """Let nobody write to the source any more, nor tell of it, if it is still what was compared.

    Returns
    -------
    list of Waiting
        What waited, told by places: the source tells it no more. See `take_over`.

    Raises
    ------
    UnavailableError
        If it has changed since. Nothing was done.
    """
    with transaction(one.connection, [one.site_id]):
        if stamp_of(one) != stamp:
            raise UnavailableError(
                f"site {one.name} changed after it was compared: the source was not deleted",
                where=f"site {one.name}",
                expected="a source to which nobody writes; both sides have the site now",
                next_step="export what came since, import it at the target, then delete the source",
            )
        called = called_on(one, ("channel_id", "about"))
        waiting = [
            (called["channel_id"][channel], about_told(about, called["about"]), next_ms)
            for channel, about, next_ms in waiting_of(one)
        ]
        one.connection.execute(
            """
            UPDATE alert_deliveries
            SET state = 'given-up', trouble = 'handed over'
            WHERE state = 'waiting'
                AND channel_id IN (SELECT id FROM alert_channels WHERE site_id = ?)
            """,
            (one.site_id,),
        )
        one.connection.execute("DELETE FROM tokens WHERE site_id = ?", (one.site_id,))
    return waiting


def take_over(other: Side, waiting: list[Waiting]) -> None:
    """Tell from here what the source tells no more; what it told, or was given up, stays so."""
    with transaction(other.connection, [other.site_id]):
        numbers = {
            column: {place: number for number, place in called.items()}
            for column, called in called_on(other, ("channel_id", "about")).items()
        }
        other.connection.executemany(
            """
            UPDATE alert_deliveries
            SET state = 'waiting', trouble = '', next_ms = ?
            WHERE channel_id = ? AND about = ? AND state = 'unknown' AND trouble = ?
            """,
            [
                (next_ms, numbers["channel_id"][place], about, HELD)
                for place, told, next_ms in waiting
                for about in (about_stored(told, numbers["about"]),)
            ],
        )
