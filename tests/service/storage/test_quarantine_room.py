"""What is set aside has limits, and what they cost is counted."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.quarantine import (
    ROOM_IN_ALL,
    ROOM_OF_A_SITE,
    QuarantineRoom,
    SetAside,
    put_aside,
    quarantine_count,
    quarantined,
    set_aside,
)
from joulebook.storage.records import Refused, Site
from tests.helpers.databases import undone

SAVED = Path(__file__).parents[2] / "data" / "schema-0007.sql"
LARGE = QuarantineRoom(messages=1000, bytes=1_000_000)


def refused(
    number: int, reason: str = "not-senml", *, size: int = 0, site_id: int | None = 1
) -> Refused:
    """Return one of many: received at its number, 14 bytes long and ``size`` more."""
    return Refused(
        site_id=site_id,
        source="bri",
        topic="topic",
        payload=number.to_bytes(2) + bytes(size),
        reason=reason,
        detail="é.?",  # 4 bytes of UTF-8
        received_ms=number,
    )


def numbers(connection: Connection, site_id: int | None = None) -> list[int]:
    kept = quarantined(connection, site_id, limit=1000)
    return sorted(int.from_bytes(one.refused.payload[:2]) for one in kept)


def test_the_oldest_of_the_reason_with_the_most_make_room(
    connection: Connection, site: Site
) -> None:
    room = QuarantineRoom(messages=5, bytes=1_000_000)
    rare = [refused(1, "time-too-old"), refused(2, "wrong-unit")]
    put_aside(connection, rare, of_a_site=room)
    for number in range(3, 30):  # garbage without end: what is rare stays
        put_aside(connection, [refused(number)], of_a_site=room)
    assert numbers(connection) == [1, 2, 27, 28, 29]
    assert set_aside(connection, site.id) == [
        SetAside(reason="not-senml", kept=3, kept_bytes=3 * 14, let_go=24),
        SetAside(reason="time-too-old", kept=1, kept_bytes=14, let_go=0),
        SetAside(reason="wrong-unit", kept=1, kept_bytes=14, let_go=0),
    ]
    assert quarantine_count(connection, site.id) == 5


@pytest.mark.usefixtures("site")
def test_more_at_once_than_there_is_room_for(connection: Connection) -> None:
    room = QuarantineRoom(messages=5, bytes=1_000_000)
    assert put_aside(connection, [refused(number) for number in range(20)], of_a_site=room) == 20
    assert numbers(connection) == [15, 16, 17, 18, 19]


@pytest.mark.usefixtures("site")
def test_bytes_are_limited_as_messages_are(connection: Connection) -> None:
    room = QuarantineRoom(messages=1000, bytes=1000)
    put_aside(connection, [refused(1, "rare", size=86)], of_a_site=room)  # 100
    put_aside(connection, [refused(2, size=386), refused(3, size=386)], of_a_site=room)  # 400 each
    assert numbers(connection) == [1, 2, 3]
    put_aside(connection, [refused(4, size=186)], of_a_site=room)  # 200
    assert numbers(connection) == [1, 3, 4]
    # One that alone is longer than the room is let go as well: its count is what stays of it.
    put_aside(connection, [refused(5, size=2000)], of_a_site=room)
    assert numbers(connection) == [1]
    assert sum(each.let_go for each in set_aside(connection, None)) == 4


@pytest.mark.usefixtures("site")
def test_a_repeat_makes_a_message_young_again(connection: Connection) -> None:
    room = QuarantineRoom(messages=2, bytes=1_000_000)
    put_aside(connection, [refused(1), refused(2)], of_a_site=room)
    put_aside(connection, [replace(refused(1), received_ms=9)], of_a_site=room)
    put_aside(connection, [refused(3)], of_a_site=room)
    assert numbers(connection) == [1, 3]
    assert [kept.times_seen for kept in quarantined(connection, None)] == [2, 1]


def test_a_site_s_garbage_takes_nothing_of_another_s(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    room = QuarantineRoom(messages=2, bytes=1_000_000)
    put_aside(connection, [refused(1, site_id=annexe.id), refused(2, site_id=None)], of_a_site=room)
    put_aside(connection, [refused(number) for number in range(3, 9)], of_a_site=room)
    assert numbers(connection) == [1, 2, 7, 8]
    assert numbers(connection, site.id) == [7, 8]
    assert [each.let_go for each in set_aside(connection, annexe.id)] == [0]


def test_in_all_the_largest_gives_way(database: Database, connection: Connection) -> None:
    sites = [add_site(database, name, "UTC").id for name in ("one", "two")]
    room = QuarantineRoom(messages=4, bytes=1_000_000)
    put_aside(connection, [refused(1, site_id=sites[0])], of_a_site=LARGE, in_all=room)
    mine = [refused(number, site_id=sites[1]) for number in range(2, 9)]
    put_aside(connection, mine, of_a_site=LARGE, in_all=room)
    nobodys = [refused(9, site_id=None)]
    put_aside(connection, nobodys, of_a_site=LARGE, in_all=room)
    assert numbers(connection) == [1, 7, 8, 9]
    assert [(each.kept, each.let_go) for each in set_aside(connection, None)] == [(4, 5)]


@pytest.mark.usefixtures("site")
def test_what_is_let_go_comes_back_with_its_transaction(connection: Connection) -> None:
    room = QuarantineRoom(messages=1, bytes=1_000_000)
    put_aside(connection, [refused(1)], of_a_site=room)
    with undone(connection):
        put_aside(connection, [refused(2)], of_a_site=room)
        assert numbers(connection) == [2]
    assert numbers(connection) == [1]
    assert [each.let_go for each in set_aside(connection, None)] == [0]


def test_nothing_to_put_aside_changes_nothing(connection: Connection) -> None:
    assert put_aside(connection, []) == 0
    assert set_aside(connection, None) == []


def test_a_flood_of_garbage_does_not_fill_the_disk(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    room = QuarantineRoom(messages=500, bytes=200_000)
    with closing(database.connect()) as connection:
        sizes = []
        for start in range(0, 10_000, 500):
            batch = [
                refused(number, site_id=None, size=1000) for number in range(start, start + 500)
            ]
            put_aside(connection, batch, of_a_site=room)
            sizes.append(int(connection.execute("PRAGMA page_count").fetchone()[0]))
        assert sizes[-1] == sizes[1]  # what is let go is written over
        (only,) = set_aside(connection, None)
    database.close()
    assert only.kept_bytes <= room.bytes
    assert only.kept + only.let_go == 10_000


def test_what_was_set_aside_before_there_were_limits_is_added_up(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "joulebook.sqlite3")) as old:
        old.executescript(SAVED.read_text(encoding="utf-8"))
    database = Database.open(tmp_path)
    with closing(database.connect()) as connection:
        added_up = set_aside(connection, None)
        entries = quarantined(connection, None)
    database.close()
    assert [each.reason for each in added_up] == [one.refused.reason for one in entries]
    sizes = [
        len(one.payload) + len(one.topic) + len(one.source) + len(one.detail.encode())
        for one in (entry.refused for entry in entries)
    ]
    assert [each.kept_bytes for each in added_up] == sizes
    assert len(sizes) == 1


def test_the_room_is_what_the_page_of_limits_says() -> None:
    assert (ROOM_OF_A_SITE.messages, ROOM_OF_A_SITE.bytes) == (10_000, 32 * 1024 * 1024)
    assert (ROOM_IN_ALL.messages, ROOM_IN_ALL.bytes) == (40_000, 128 * 1024 * 1024)
