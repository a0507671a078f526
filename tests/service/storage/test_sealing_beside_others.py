"""Neither neighbours who write meanwhile nor a full disk spoil what is sealed."""

from collections.abc import Callable
from contextlib import closing
from typing import Any

import pytest

from joulebook.storage import sealing
from joulebook.storage.blocks.block import DeviceBlock, encode_block
from joulebook.storage.connections import on_server, wait_for_nobody
from joulebook.storage.database import Connection, Database, StorageUnavailableError
from joulebook.storage.hotrows import read_hot
from joulebook.storage.records import SealCounts, Site
from joulebook.storage.sealing import seal, seal_all
from tests.helpers.databases import write
from tests.helpers.sealed import (
    LATER_MS,
    MONDAY_MS,
    MUCH_LATER_MS,
    hot_rows,
    periods,
    power,
    write_days,
)


def test_whoever_writes_meanwhile_wins(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(1))
    expected = power(connection, site)

    def replacing(block: DeviceBlock) -> bytes:
        write(connection, site, "battery", {MONDAY_MS: {"power": -9.0}})
        return encode_block(block)

    with monkeypatch.context() as patch:
        patch.setattr(sealing, "encode_block", replacing)
        assert seal(connection, LATER_MS) == SealCounts(postponed=1)
    expected[MONDAY_MS] = -9.0
    assert power(connection, site) == expected
    assert periods(connection) == []
    assert seal(connection, LATER_MS) == SealCounts(blocks=1, rows=24)
    assert power(connection, site) == expected


@pytest.mark.on_a_file
def test_two_that_seal_at_once_agree(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(-7, 0))
    expected = power(connection, site)

    def meanwhile(now_ms: int) -> Callable[[DeviceBlock], bytes]:
        def encode(block: DeviceBlock) -> bytes:
            monkeypatch.setattr(sealing, "encode_block", encode_block)
            seal_all(database, now_ms)
            return encode_block(block)

        return encode

    monkeypatch.setattr(sealing, "encode_block", meanwhile(LATER_MS))
    # The other has sealed all seven days: the first is not ours any more, nor are the others.
    assert seal(connection, LATER_MS) == SealCounts(postponed=1)
    assert len(periods(connection)) == 7
    monkeypatch.setattr(sealing, "encode_block", meanwhile(MUCH_LATER_MS))
    assert seal(connection, MUCH_LATER_MS) == SealCounts(postponed=1)
    assert periods(connection) == [(-7, 0)]
    assert power(connection, site) == expected


@pytest.mark.on_a_file
def test_a_week_that_is_joined_meanwhile_gets_no_block_inside(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(7))
    seal(connection, LATER_MS)
    write(connection, site, "battery", {MONDAY_MS + 1: {"power": -1.0}})
    expected = power(connection, site)

    def encode(block: DeviceBlock) -> bytes:
        with monkeypatch.context() as patch:
            patch.setattr(sealing, "encode_block", encode_block)
            # Another process joins the week, and no late reading yet: that marks nothing.
            patch.setattr(sealing, "unsealed_days", lambda *_: [])
            assert seal_all(database, MUCH_LATER_MS) == SealCounts(weeks=1)
        return encode_block(block)

    with monkeypatch.context() as patch:
        patch.setattr(sealing, "encode_block", encode)
        assert seal(connection, LATER_MS) == SealCounts(postponed=1)
    assert periods(connection) == [(0, 7)]
    assert seal(connection, LATER_MS) == SealCounts(blocks=1, rows=7 * 24 + 1)
    assert periods(connection) == [(0, 7)]
    assert power(connection, site) == expected


def test_nobody_waits_while_it_reads_and_encodes(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(-7, 4))
    with closing(database.connect()) as other:
        wait_for_nobody(other)
        written = 0

        def write_now() -> bool:
            nonlocal written
            written += 1
            write(other, site, "grid", {LATER_MS + written: {"power": 1.0}})
            return True

        def encode(block: DeviceBlock) -> bytes:
            assert write_now()
            return encode_block(block)

        monkeypatch.setattr(sealing, "encode_block", encode)
        seal(connection, LATER_MS, rows_at_once=10, between=write_now)
        seal(connection, MUCH_LATER_MS, between=write_now)
    # 11 days of three transactions, the day of what was written here, and two weeks: once while
    # each is encoded, and once after each transaction.
    assert written == 11 * (1 + 3) + (1 + 1) + 2 * (1 + 1)


def test_an_import_is_sealed_with_its_progress(database: Database, site: Site) -> None:
    with closing(database.connect()) as connection:
        write_days(connection, site, range(3))
        write_days(connection, site, range(3), device="grid")
        told: list[tuple[int, int]] = []
        counts = seal_all(database, LATER_MS, lambda done, total: told.append((done, total)))
        assert counts.blocks == 6
        assert told == [(done, 6) for done in range(1, 7)]
        assert hot_rows(connection) == 0


def test_after_an_import_without_room_to_write_the_file_anew_all_is_sealed_all_the_same(
    database: Database,
    connection: Connection,
    site: Site,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    write_days(connection, site, range(3))

    def no_room(_connection: Connection) -> bool:
        raise StorageUnavailableError("the disk is full", where="", expected="", next_step="")

    monkeypatch.setattr(sealing, "shrink", no_room)
    assert seal_all(database, LATER_MS).blocks == 3
    assert "the database file keeps its size: the disk is full" in caplog.text


@pytest.mark.on_a_file
def test_a_full_disk_is_told_and_nothing_is_lost(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(8), rows=6)  # too few to leave a page behind
    expected = power(connection, site)
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    connection.execute(f"PRAGMA max_page_count = {pages}")

    encoded = 0

    def large(block: DeviceBlock) -> bytes:
        nonlocal encoded
        encoded += 1
        return encode_block(block) + bytes(100_000 if encoded > 2 else 0)

    with monkeypatch.context() as patch:
        patch.setattr(sealing, "encode_block", large)
        with pytest.raises(StorageUnavailableError, match="disk is full") as caught:
            seal(connection, LATER_MS)
    assert "free some space" in caught.value.next_step
    assert not connection.in_transaction
    assert power(connection, site) == expected
    assert periods(connection) == [(0, 1), (1, 2)]
    # There is room again.
    connection.execute("PRAGMA max_page_count = 1000000")
    assert seal(connection, LATER_MS).blocks == 6
    assert power(connection, site) == expected


def test_a_note_of_hot_rows_without_any_is_dropped(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(1))
    # Nothing of ours deletes single rows; a person with SQL might.
    connection.execute("DELETE FROM readings")
    assert seal(connection, LATER_MS) == SealCounts()
    assert connection.execute("SELECT count(*) FROM hot_days").fetchone() == (0,)


def test_rows_that_come_while_such_a_note_is_dropped_are_sealed_all_the_same(
    database: Database, connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_days(connection, site, range(1))
    expected = power(connection, site)
    connection.execute("DELETE FROM readings")
    with closing(database.connect()) as other:

        def meanwhile(*args: Any) -> DeviceBlock:
            found = read_hot(*args)
            write_days(other, site, range(1))
            return found

        with monkeypatch.context() as patch:
            patch.setattr(sealing, "read_hot", meanwhile)
            assert seal(connection, LATER_MS) == SealCounts()
    assert power(connection, site) == expected
    assert seal(connection, LATER_MS) == SealCounts(blocks=1, rows=24)
    assert power(connection, site) == expected


def test_a_database_that_cannot_be_written_is_told(
    database: Database, connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(1))
    with closing(database.connect()) as reader:
        reader.execute(
            "SET default_transaction_read_only = on"
            if on_server(reader)
            else "PRAGMA query_only = ON"
        )
        with pytest.raises(StorageUnavailableError, match="may only be read"):
            seal(reader, LATER_MS)
    assert seal(connection, LATER_MS).blocks == 1
