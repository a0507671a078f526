"""What was changed at a site, and when: before and after such an event are never mixed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined, on_server
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import mark_record
from joulebook.storage.records import Site

EventKind = Literal[
    "firmware",
    "wiring",
    "panels",
    "battery",
    "sensor",
    "settings",
    "capacity_setting",
    "other",
]
KINDS: tuple[EventKind, ...] = get_args(EventKind)

#: Of a title and of a note. [characters]
LONGEST_TITLE = 80
LONGEST_NOTE = 2000
#: No home battery of this service ran before 2015. [ms, UTC epoch]
_EARLIEST_MS = 1_420_070_400_000
_EVENTS = "SELECT site_id, id, at_ms, kind, title, note, made_ms, removed_ms FROM events"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that was changed at a site.

    Attributes
    ----------
    id : int
        By which it is removed.
    at_ms : int
        When it was changed. [ms, UTC epoch]
    kind : EventKind
        ``capacity_setting`` is the capacity that the equipment was told.
    title, note : str
        What was done, in a few words; and what else there is to say.
    made_ms, removed_ms : int, and int or None
        When it was entered, and taken back. [ms, UTC epoch]
    """

    id: int
    at_ms: int
    kind: EventKind
    title: str
    note: str = ""
    made_ms: int
    removed_ms: int | None = None


@names_faults
def add_event(connection: Connection, site: Site, wanted: Event) -> Event:
    """Add an event and mark the site's record, in one transaction.

    Parameters
    ----------
    wanted : Event
        What to add; its ``id`` is not used.

    Raises
    ------
    UsageError
        If the kind is unknown, the title empty or too long, or the instant before 2015 or yet
        to come.
    """
    _check(wanted)
    with joined(connection):
        (number,) = connection.execute(
            """
            INSERT INTO events (site_id, at_ms, kind, title, note, made_ms)
            VALUES (?, ?, ?, ?, ?, ?)
            RETURNING id
            """,
            (site.id, wanted.at_ms, wanted.kind, wanted.title, wanted.note, wanted.made_ms),
        ).fetchone()
        mark_record(connection, site.id)
        return replace(wanted, id=int(number))


@names_faults
def remove_event(connection: Connection, site: Site, event_id: int, *, now_ms: int) -> Event:
    """Take an event back and mark the site's record, in one transaction. Its row stays.

    Its photos are deleted: of what never happened there is nothing to see.

    Raises
    ------
    UsageError
        If the site has no such event, or it was removed before.
    """
    if not on_server(connection):
        connection.execute("PRAGMA secure_delete = ON")
    with joined(connection):
        event = event_numbered(connection, site, event_id)
        connection.execute("DELETE FROM event_photos WHERE event_id = ?", (event_id,))
        connection.execute("UPDATE events SET removed_ms = ? WHERE id = ?", (now_ms, event_id))
        mark_record(connection, site.id)
        return replace(event, removed_ms=now_ms)


@names_faults
def event_numbered(connection: Connection, site: Site, event_id: int) -> Event:
    """Return one of a site's events.

    Raises
    ------
    UsageError
        If the site has no such event, or it was removed.
    """
    there = {one.id: one for one in events_of(connection, site.id)}
    if event_id not in there:
        raise UsageError(
            f"site {site.name} has no event {event_id}",
            where="event",
            expected="one of " + ", ".join(map(str, there)) if there else "an event",
            next_step="list them with `joulebook event list`",
        )
    return there[event_id]


@names_faults
def events_of(connection: Connection, site_id: int, *, removed: bool = False) -> list[Event]:
    """Return a site's events in order of time; removed ones if asked for."""
    rows = connection.execute(
        f"{_EVENTS} WHERE site_id = ? AND (? OR removed_ms IS NULL) ORDER BY at_ms, id",
        (site_id, removed),
    )
    return [_event(row) for row in rows]


@names_faults
def events_by_site(connection: Connection) -> dict[int, list[Event]]:
    """Return the events of every site that has any, by its id, in order of time."""
    rows = connection.execute(f"{_EVENTS} WHERE removed_ms IS NULL ORDER BY at_ms, id")
    found: dict[int, list[Event]] = {}
    for row in rows:
        found.setdefault(row[0], []).append(_event(row))
    return found


def _event(row: Sequence[Any]) -> Event:
    _, number, at_ms, kind, title, note, made_ms, removed_ms = row
    return Event(
        id=number,
        at_ms=at_ms,
        kind=kind,
        title=title,
        note=note,
        made_ms=made_ms,
        removed_ms=removed_ms,
    )


def _check(wanted: Event) -> None:
    if wanted.kind not in KINDS:
        raise _refused(f"there is no kind {wanted.kind!r}", "kind", "one of " + ", ".join(KINDS))
    if not 0 < len(wanted.title.strip()) <= LONGEST_TITLE:
        raise _refused("the title does not do", "title", f"1 to {LONGEST_TITLE} characters")
    if len(wanted.note) > LONGEST_NOTE:
        raise _refused("the note is too long", "note", f"at most {LONGEST_NOTE} characters")
    if not _EARLIEST_MS <= wanted.at_ms <= wanted.made_ms:
        raise _refused(
            "the event is dated before 2015 or yet to come", "at", "when it happened, up to now"
        )


def _refused(what: str, where: str, expected: str) -> UsageError:
    return UsageError(
        what,
        where=where,
        expected=expected,
        next_step="see `joulebook event add --help`; nothing was stored",
    )
