from dataclasses import replace
from typing import Any

import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import dirty_count
from joulebook.storage.events import KINDS, Event, add_event, events_of, remove_event
from joulebook.storage.record_results import record_mark
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, undone

NEW_PANELS = Event(
    id=0,
    at_ms=NOON_MS,
    kind="panels",
    title="Four more panels",
    note="On the shed",
    made_ms=NOON_MS,
)


def test_events_are_kept_as_they_were_entered_in_order_of_time(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    later = add_event(connection, site, NEW_PANELS)
    earlier = add_event(connection, site, replace(NEW_PANELS, at_ms=NOON_MS - 5, kind="wiring"))
    assert later == replace(NEW_PANELS, id=later.id)
    assert events_of(connection, site.id) == [earlier, later]
    assert events_of(connection, annexe.id) == []


def test_every_kind_that_the_program_knows_can_be_stored(
    connection: Connection, site: Site
) -> None:
    for kind in KINDS:
        add_event(connection, site, replace(NEW_PANELS, kind=kind))
    assert len(events_of(connection, site.id)) == len(KINDS) == 8


def test_an_event_marks_the_record_and_no_day(connection: Connection, site: Site) -> None:
    added = add_event(connection, site, NEW_PANELS)
    first = record_mark(connection, site.id)
    assert first > 0
    remove_event(connection, site, added.id, now_ms=NOON_MS + 1)
    assert record_mark(connection, site.id) > first
    assert dirty_count(connection) == 0


def test_a_removed_event_is_kept_apart(connection: Connection, site: Site) -> None:
    added = add_event(connection, site, NEW_PANELS)
    removed = remove_event(connection, site, added.id, now_ms=NOON_MS + 1)
    assert removed == replace(added, removed_ms=NOON_MS + 1)
    assert events_of(connection, site.id) == []
    assert events_of(connection, site.id, removed=True) == [removed]
    with pytest.raises(UsageError, match=f"has no event {added.id}") as caught:
        remove_event(connection, site, added.id, now_ms=NOON_MS + 2)
    assert caught.value.expected == "an event"


def test_it_removes_none_of_another_site(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    theirs = add_event(connection, annexe, NEW_PANELS)
    ours = add_event(connection, site, NEW_PANELS)
    with pytest.raises(UsageError) as caught:
        remove_event(connection, site, theirs.id, now_ms=NOON_MS)
    assert caught.value.expected == f"one of {ours.id}"


def test_an_event_and_its_mark_are_one(connection: Connection, site: Site) -> None:
    with undone(connection):
        add_event(connection, site, NEW_PANELS)
    assert (events_of(connection, site.id), record_mark(connection, site.id)) == ([], 0)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"kind": "party"}, "kind"),
        ({"title": " "}, "title"),
        ({"title": "x" * 81}, "title"),
        ({"note": "x" * 2001}, "note"),
        ({"at_ms": NOON_MS + 1}, "at"),
        ({"at_ms": 0}, "at"),
    ],
)
def test_it_refuses_what_cannot_be_an_event(
    connection: Connection, site: Site, change: dict[str, Any], where: str
) -> None:
    with pytest.raises(UsageError) as caught:
        add_event(connection, site, replace(NEW_PANELS, **change))
    assert (caught.value.where, events_of(connection, site.id)) == (where, [])
