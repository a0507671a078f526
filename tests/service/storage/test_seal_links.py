"""Each sealed day is a link, and each link holds all before it (SHA-256, FIPS 180-4)."""

import hashlib

import pytest

from joulebook.core.spans import Span
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site
from joulebook.storage.seal_links import broken_link, last_link, link_unlinked, links_of
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from tests.helpers.databases import write
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS, write_days


def days(connection: Connection, site: Site) -> list[tuple[int, str, int]]:
    return [
        (link.number, f"{link.day:%d}", link.readings) for link in links_of(connection, site.id)
    ]


def damage(database: Database) -> list[str]:
    return verify(database, result_fault=lambda _method, _result: None).damage


def test_a_sealed_day_gets_a_link_in_the_transaction_that_seals_it(
    connection: Connection, site: Site
) -> None:
    assert last_link(connection, site.id) is None
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    assert days(connection, site) == [(1, "02", 48), (2, "03", 48)]
    head = last_link(connection, site.id)
    assert head is not None
    assert (head.device, head.sealed_ms) == ("battery", LATER_MS)


def test_the_chain_can_be_followed_with_a_hash_and_a_csv_alone(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    before = "00" * 32
    for number, day in ((1, 0), (2, 1)):
        start_ms = MONDAY_MS + day * DAY_MS
        found = read_device(connection, site.id, "battery", Span(start_ms, start_ms + DAY_MS))
        lines = ""
        for name in ("power", "soc"):
            content = found.at_ms.tobytes() + found.values[name].tobytes()
            lines += f"{name} W {hashlib.sha256(content).hexdigest()}\n"
        digest = hashlib.sha256(lines.encode()).hexdigest()
        line = f"{before} {number} battery 2026-03-0{2 + day} 48 {digest} {LATER_MS}\n"
        before = hashlib.sha256(line.encode()).hexdigest()
    head = last_link(connection, site.id)
    assert head is not None
    assert head.hash.hex() == before


def test_late_readings_add_a_link_and_the_old_one_stays(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    write(connection, site, "battery", {MONDAY_MS + 1: {"power": 5.0}})
    seal(connection, LATER_MS + DAY_MS)
    assert days(connection, site) == [(1, "02", 48), (2, "03", 48), (3, "02", 49)]
    assert broken_link(links_of(connection, site.id)) is None


def test_joining_the_days_of_a_week_changes_no_reading_and_adds_no_link(
    connection: Connection, site: Site, database: Database
) -> None:
    write_days(connection, site, range(7))
    seal(connection, LATER_MS)
    assert seal(connection, MUCH_LATER_MS).weeks == 1
    assert len(days(connection, site)) == 7
    assert damage(database) == []


def test_what_was_sealed_before_there_was_a_chain_is_linked_once(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(3))
    seal(connection, LATER_MS)
    connection.execute("DELETE FROM seal_links")
    assert link_unlinked(connection, MUCH_LATER_MS, between=lambda: False) == 1
    assert days(connection, site) == [(1, "02", 48)]
    assert link_unlinked(connection, MUCH_LATER_MS, between=lambda: True) == 2
    assert link_unlinked(connection, MUCH_LATER_MS, between=lambda: True) == 0
    assert days(connection, site) == [(1, "02", 48), (2, "03", 48), (3, "04", 48)]


def test_a_damaged_or_vanished_block_is_passed_over(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(3))
    seal(connection, LATER_MS)
    connection.execute("DELETE FROM seal_links")
    connection.execute("UPDATE blocks SET data = ? WHERE start_ms = ?", (b"\0", MONDAY_MS))

    def vanish() -> bool:
        connection.execute("DELETE FROM blocks WHERE start_ms = ?", (MONDAY_MS + DAY_MS,))
        return True

    assert link_unlinked(connection, MUCH_LATER_MS, between=vanish) == 3
    assert days(connection, site) == [(1, "04", 48)]


def test_verify_names_a_day_whose_readings_are_not_those_that_were_sealed(
    connection: Connection, site: Site, database: Database
) -> None:
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    assert damage(database) == []
    connection.execute("UPDATE seal_links SET digest = ? WHERE number = 2", (bytes(32),))
    assert damage(database) == [
        "the readings of studio/battery on 2026-03-03 (UTC) are not those that were sealed",
        "link 2 of studio, of battery on 2026-03-03, does not follow from the links before it",
    ]


def test_verify_names_a_link_that_was_taken_out(
    connection: Connection, site: Site, database: Database
) -> None:
    write_days(connection, site, range(3))
    seal(connection, LATER_MS)
    connection.execute("DELETE FROM seal_links WHERE number = 1")
    assert damage(database) == [
        "link 2 of studio, of battery on 2026-03-03, does not follow from the links before it"
    ]
    assert verify(database, result_fault=lambda _method, _result: None).checked["links"] == 2


@pytest.mark.on_a_file
def test_a_backup_without_a_chain_is_no_damage(
    connection: Connection, site: Site, database: Database
) -> None:
    write_days(connection, site, range(3))
    seal(connection, LATER_MS)
    connection.execute("DROP TABLE seal_links")
    assert damage(database) == []
