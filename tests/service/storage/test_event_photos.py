"""Photos belong to their event and site, are few, and leave nothing when they go."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.errors import UsageError
from joulebook.storage import event_photos
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection, Database
from joulebook.storage.deletion import delete_site
from joulebook.storage.event_photos import (
    LONGEST_CAPTION,
    MOST_OF_AN_EVENT,
    EventPhoto,
    Picture,
    add_photo,
    jpeg_of,
    photos_of,
    remove_photo,
    whole_photos,
)
from joulebook.storage.events import Event, add_event, remove_event
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.storage.record_results import record_mark
from joulebook.storage.records import Site
from joulebook.storage.verify import verify
from tests.helpers.databases import NOON_MS
from tests.helpers.photos import small_picture

PANELS = Event(id=0, at_ms=NOON_MS, kind="panels", title="Four more panels", made_ms=NOON_MS)
#: No picture: bytes that are found in a file where they are left.
WORDS = Picture(b"the kiln in the old barn, seen from the road" * 40, 8, 6)


@pytest.fixture
def event(connection: Connection, site: Site) -> Event:
    return add_event(connection, site, PANELS)


def added(
    connection: Connection, site: Site, event: Event, picture: Picture, caption: str = "The roof"
) -> EventPhoto:
    return add_photo(connection, site, event, picture, caption=caption, now_ms=NOON_MS + 1)


def test_photos_are_kept_to_the_bit_by_event_in_the_order_of_their_adding(
    database: Database, connection: Connection, site: Site, event: Event
) -> None:
    lugs = add_event(connection, site, replace(PANELS, kind="wiring"))
    first, second = small_picture(1), small_picture(2)
    mark = record_mark(connection, site.id)
    one = added(connection, site, event, first)
    other = added(connection, site, lugs, first, "größer")
    last = added(connection, site, event, second)
    assert photos_of(connection, site.id) == {event.id: [one, last], lugs.id: [other]}
    assert one == EventPhoto(
        id=one.id,
        event_id=event.id,
        caption="The roof",
        made_ms=NOON_MS + 1,
        width=8,
        height=6,
        sha256=first.sha256,
    )
    assert whole_photos(connection, site.id) == [
        (one, first.jpeg),
        (other, first.jpeg),
        (last, second.jpeg),
    ]
    assert photos_of(connection, add_site(database, "annexe", "UTC").id) == {}
    # No number rests on a photo.
    assert record_mark(connection, site.id) == mark


def test_a_photo_is_removed_and_of_its_own_site_alone(
    database: Database, connection: Connection, site: Site, event: Event
) -> None:
    annexe = add_site(database, "annexe", "UTC")
    photo = added(connection, site, event, small_picture())
    remove_photo(connection, annexe, photo)
    assert jpeg_of(connection, photo) == small_picture().jpeg
    remove_photo(connection, site, photo)
    assert (photos_of(connection, site.id), jpeg_of(connection, photo)) == ({}, b"")


def test_there_are_only_so_many(
    connection: Connection, site: Site, event: Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    for shade in range(MOST_OF_AN_EVENT):
        added(connection, site, event, small_picture(shade))
    with pytest.raises(UsageError, match="the event has 4 photos"):
        added(connection, site, event, small_picture(5))
    another = add_event(connection, site, PANELS)
    monkeypatch.setattr(event_photos, "MOST_OF_A_SITE", 5)
    added(connection, site, another, small_picture(5))
    with pytest.raises(UsageError, match="the site has 5 photos") as caught:
        added(connection, site, another, small_picture(6))
    assert (caught.value.where, caught.value.expected) == ("photo", "at most 5")


@pytest.mark.parametrize("caption", ["", " ", "x" * (LONGEST_CAPTION + 1), "two\nlines", "a\0b"])
def test_it_is_said_what_a_photo_shows(
    connection: Connection, site: Site, event: Event, caption: str
) -> None:
    with pytest.raises(UsageError) as caught:
        added(connection, site, event, small_picture(), caption)
    assert caught.value.where == "caption"
    assert photos_of(connection, site.id) == {}


def test_one_photo_is_there_once(connection: Connection, site: Site, event: Event) -> None:
    added(connection, site, event, small_picture())
    with pytest.raises(UsageError, match="has this very photo already"):
        added(connection, site, event, small_picture(), "Once more")


def test_only_an_event_that_stands_has_photos(
    database: Database, connection: Connection, site: Site, event: Event
) -> None:
    annexe = add_site(database, "annexe", "UTC")
    theirs = add_event(connection, annexe, PANELS)
    ours, kept = small_picture(1), small_picture(2)
    added(connection, annexe, theirs, kept)
    added(connection, site, event, ours)
    remove_event(connection, site, event.id, now_ms=NOON_MS + 2)
    assert photos_of(connection, site.id) == {}
    for gone in (event, theirs):
        with pytest.raises(UsageError, match=f"has no event {gone.id}"):
            added(connection, site, gone, ours)
    assert whole_photos(connection, annexe.id)[0][1] == kept.jpeg


def test_whoever_is_narrowed_to_a_site_reaches_its_photos_alone(
    database: Database, connection: Connection, site: Site, event: Event
) -> None:
    annexe = add_site(database, "annexe", "UTC")
    added(connection, annexe, add_event(connection, annexe, PANELS), small_picture())
    own = narrowed(Narrowing(frozenset({site.id})))
    with own, closing(database.connect()) as narrow:
        photo = added(narrow, site, event, small_picture())
        assert photos_of(narrow, site.id) == {event.id: [photo]}
        remove_photo(narrow, site, photo)
        assert photos_of(narrow, site.id) == {}
        # A server keeps the others' from him by itself; of a file the pages do.
        assert len(photos_of(narrow, annexe.id)) == (0 if on_server(narrow) else 1)


def test_a_photo_that_changed_is_found_by_verify(
    database: Database, connection: Connection, site: Site, event: Event
) -> None:
    first = added(connection, site, event, small_picture(1))
    second = added(connection, site, event, small_picture(2))
    whole = verify(database, result_fault=lambda _method, _result: None)
    assert (whole.damage, whole.checked["photos"]) == ([], 2)
    changed = jpeg_of(connection, first)[:-3] + b"x\xff\xd9"
    connection.execute("UPDATE event_photos SET jpeg = ? WHERE id = ?", (changed, second.id))
    found = verify(database, result_fault=lambda _method, _result: None)
    assert found.damage == [f"photo {second.id} of studio is not as it was kept"]


@pytest.mark.on_a_file
@pytest.mark.parametrize("way", ["photo", "event", "site"])
def test_no_byte_is_left_in_the_file(
    database: Database, site: Site, tmp_path: Path, way: str
) -> None:
    with closing(database.connect()) as connection:
        event = add_event(connection, site, PANELS)
        photo = added(connection, site, event, WORDS)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert WORDS.jpeg[:44] in database.path.read_bytes()
    with closing(database.connect()) as connection:
        if way == "photo":
            remove_photo(connection, site, photo)
        elif way == "event":
            remove_event(connection, site, event.id, now_ms=NOON_MS + 2)
        else:
            delete_site(connection, site, who="Ana", now_ms=NOON_MS + 2)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    for file in tmp_path.iterdir():
        assert WORDS.jpeg[:44] not in file.read_bytes()
