from dataclasses import replace

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection, Database
from joulebook.storage.quarantine import put_aside, quarantine_count, quarantined
from joulebook.storage.records import Refused, Site
from tests.helpers.databases import undone
from tests.helpers.plans import steps_of

REFUSED = Refused(
    site_id=1,
    source="bridge",
    topic="joulebook/v1/studio/battery",
    payload=bytes(range(256)),
    reason="not-senml",
    detail="The payload is neither JSON nor CBOR.",
    received_ms=1000,
)


def test_a_refused_message_is_kept_whole(connection: Connection, site: Site) -> None:
    assert put_aside(connection, [REFUSED]) == 1
    (kept,) = quarantined(connection, site.id)
    assert kept.refused == REFUSED
    assert (kept.times_seen, kept.last_received_ms) == (1, 1000)


def test_a_repeat_is_counted_and_not_kept_again(connection: Connection, site: Site) -> None:
    later = replace(REFUSED, received_ms=5000, detail="Said in other words.")
    assert put_aside(connection, [REFUSED, REFUSED]) == 1
    assert put_aside(connection, [later]) == 0
    (kept,) = quarantined(connection, site.id)
    assert kept.refused == REFUSED
    assert (kept.times_seen, kept.last_received_ms) == (3, 5000)


@pytest.mark.parametrize(
    "other",
    [
        replace(REFUSED, site_id=None),
        replace(REFUSED, source="broker"),
        replace(REFUSED, topic="joulebook/v1/studio/grid"),
        replace(REFUSED, payload=b""),
        replace(REFUSED, reason="time-too-old"),
        # Joined without their lengths these two would look alike.
        replace(REFUSED, source="bridgej", topic="oulebook/v1/studio/battery"),
    ],
)
def test_what_differs_is_kept_beside(connection: Connection, other: Refused) -> None:
    assert put_aside(connection, [REFUSED, other]) == 2
    assert {kept.refused for kept in quarantined(connection, None)} == {REFUSED, other}


@pytest.mark.usefixtures("site")
def test_each_site_sees_its_own_and_none_sees_all(
    database: Database, connection: Connection
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    theirs = replace(REFUSED, site_id=annexe.id)
    nobodys = replace(REFUSED, site_id=None)
    put_aside(connection, [REFUSED, theirs, nobodys])
    assert [kept.refused for kept in quarantined(connection, annexe.id)] == [theirs]
    assert quarantine_count(connection, annexe.id) == 1
    assert len(quarantined(connection, None)) == 3
    assert quarantine_count(connection, None) == 3


@pytest.mark.usefixtures("site")
def test_the_newest_come_first_page_by_page(connection: Connection) -> None:
    put_aside(
        connection,
        [replace(REFUSED, payload=bytes([n]), received_ms=1000 * n) for n in (3, 1, 4, 2)],
    )
    pages = [quarantined(connection, None, limit=2, offset=offset) for offset in (0, 2, 4)]
    assert [[kept.refused.payload[0] for kept in page] for page in pages] == [[4, 3], [2, 1], []]
    pages = [quarantined(connection, 1, limit=3, offset=offset) for offset in (0, 3)]
    assert [[kept.refused.payload[0] for kept in page] for page in pages] == [[4, 3, 2], [1]]


@pytest.mark.usefixtures("site")
def test_it_takes_part_in_the_caller_s_transaction(connection: Connection) -> None:
    with undone(connection):
        put_aside(connection, [REFUSED])
    assert quarantine_count(connection, None) == 0


@pytest.mark.usefixtures("site")
def test_a_file_s_name_that_is_no_utf_8_does_not_stop_it(connection: Connection) -> None:
    # os.fsdecode(b"caf\xe9.csv") under UTF-8 is "caf\udce9.csv" (PEP 383).
    put_aside(connection, [replace(REFUSED, source="caf\udce9.csv")])
    (kept,) = quarantined(connection, None)
    assert kept.refused.source == r"caf\udce9.csv"


@pytest.mark.parametrize(("where", "index"), [("", "last"), ("WHERE site_id = 1", "site_last")])
def test_no_page_sorts_the_whole_table(connection: Connection, where: str, index: str) -> None:
    sql = f"SELECT payload FROM quarantine {where} ORDER BY last_received_ms DESC, id DESC LIMIT 9"
    assert steps_of(connection, sql) == [f"quarantine by ix_quarantine_{index}"]


@pytest.mark.parametrize("mine", ["site_id = 1", "site_id IS NULL"])
def test_no_pass_for_room_sorts_a_reason(connection: Connection, mine: str) -> None:
    sql = (
        f"SELECT id FROM quarantine WHERE {mine} AND reason = 'not-senml' "
        "ORDER BY last_received_ms, id LIMIT 10"
    )
    [step] = steps_of(connection, sql)
    # Of several indexes in the order of time a server chooses by how many rows there are.
    names = ("reason_last", "site_last", "last") if on_server(connection) else ("reason_last",)
    assert step in {f"quarantine by ix_quarantine_{name}" for name in names}
