"""What is sealed and when, and that neither disk, clock nor neighbours can spoil it."""

from collections.abc import Callable
from contextlib import closing
from sqlite3 import Connection
from typing import Any

import pytest

from joulebook.storage import sealing
from joulebook.storage.blocks.block import DeviceBlock, encode_block
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.hotrows import read_hot
from joulebook.storage.records import Column, SealCounts, Site, Value, Written
from joulebook.storage.sealing import seal, seal_all
from tests.helpers.databases import write
from tests.helpers.sealed import (
    DAY_MS,
    LATER_MS,
    MONDAY_MS,
    MUCH_LATER_MS,
    hot_rows,
    periods,
    power,
    write_days,
)


def test_days_are_sealed_once_two_whole_days_lie_between(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(4))
    before = power(connection, site)
    assert seal(connection, MONDAY_MS + 3 * DAY_MS - 1) == SealCounts()
    assert seal(connection, MONDAY_MS + 3 * DAY_MS) == SealCounts(blocks=1, rows=24)
    assert periods(connection) == [(0, 1)]
    assert hot_rows(connection) == 3 * 24
    assert power(connection, site) == before
    counts = seal(connection, MONDAY_MS + 3 * DAY_MS, keep_hot_days=0)
    assert counts == SealCounts(blocks=2, rows=48)
    assert periods(connection) == [(0, 1), (1, 2), (2, 3)]
    assert power(connection, site) == before


def test_sealing_again_does_nothing(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(3))
    assert seal(connection, LATER_MS).blocks == 3
    blocks = connection.execute("SELECT * FROM blocks ORDER BY id").fetchall()
    assert seal(connection, LATER_MS) == SealCounts()
    assert connection.execute("SELECT * FROM blocks ORDER BY id").fetchall() == blocks


def test_the_days_of_a_week_become_one_block_two_weeks_after_its_end(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(-1, 8))
    before = power(connection, site)
    assert seal(connection, LATER_MS).blocks == 9
    assert seal(connection, MONDAY_MS + 21 * DAY_MS - 1) == SealCounts()
    assert seal(connection, MONDAY_MS + 21 * DAY_MS) == SealCounts(weeks=1)
    assert periods(connection) == [(-1, 0), (0, 7), (7, 8)]
    assert power(connection, site) == before
    assert seal(connection, MUCH_LATER_MS) == SealCounts()


def test_what_is_old_already_is_sealed_by_weeks_at_once(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(14))
    before = power(connection, site)
    assert seal(connection, MUCH_LATER_MS) == SealCounts(blocks=2, rows=14 * 24)
    assert periods(connection) == [(0, 7), (7, 14)]
    assert power(connection, site) == before


def test_long_days_are_not_joined_to_weeks(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sealing, "MOST_WEEK_ROWS", 47)
    write_days(connection, site, range(2))
    assert seal(connection, MUCH_LATER_MS) == SealCounts(blocks=2, rows=48)
    assert periods(connection) == [(0, 1), (1, 2)]


def test_a_day_with_more_rows_than_a_block_has_stays_hot_and_is_told(
    connection: Connection, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sealing, "MAX_ROWS", 23)
    write_days(connection, site, range(1))
    before = power(connection, site)
    write(connection, site, "grid", {MONDAY_MS: {"power": 1.0}})
    assert seal(connection, LATER_MS) == SealCounts(blocks=1, rows=1, too_many_rows=1)
    assert power(connection, site) == before
    assert hot_rows(connection) == 24


def test_late_readings_join_their_block(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(2))
    seal(connection, LATER_MS)
    expected = power(connection, site)
    late = {
        MONDAY_MS: {"power": 0.0},  # as it is
        MONDAY_MS + DAY_MS // 24: {"power": -7.0},  # another value
        MONDAY_MS + 1: {"power": 5.0},  # new
        MONDAY_MS - 1: {"power": 6.0},  # new, on a day that has no block
    }
    assert write(connection, site, "battery", late) == Written(new=2, repeated=1, replaced=1)
    expected |= {at_ms: row["power"] for at_ms, row in late.items()}
    assert power(connection, site) == expected
    assert hot_rows(connection) == 3  # a repeat leaves no trace
    # Sent once more, all of them are repeats, whether they are hot or sealed.
    assert write(connection, site, "battery", late) == Written(repeated=4)
    assert seal(connection, LATER_MS) == SealCounts(blocks=2, rows=26)
    assert periods(connection) == [(-1, 0), (0, 1), (1, 2)]
    assert power(connection, site) == expected
    assert write(connection, site, "battery", late) == Written(repeated=4)


def test_a_late_row_holds_copies_of_what_it_repeats_as_they_were_first_stored(
    connection: Connection, site: Site
) -> None:
    columns = [Column("power", "W"), Column("fan", "", "flag"), Column("state", "", "text")]
    row: dict[int, dict[str, Value]] = {MONDAY_MS: {"power": 1.0, "fan": True, "state": "idle"}}
    write(connection, site, "inverter", row, columns)
    seal(connection, LATER_MS)
    row[MONDAY_MS]["power"] = 2.0
    assert write(connection, site, "inverter", row, columns) == Written(repeated=2, replaced=1)
    kinds = connection.execute("SELECT typeof(v0), typeof(v1), typeof(v2) FROM readings")
    assert kinds.fetchall() == [("real", "integer", "text")]


def test_late_readings_join_the_block_of_a_week(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(2))
    seal(connection, MUCH_LATER_MS)
    late = {MONDAY_MS + 5 * DAY_MS: {"power": 5.0, "voltage": 51.2}}
    assert write(connection, site, "battery", late) == Written(new=2)
    expected = power(connection, site)
    assert seal(connection, MUCH_LATER_MS) == SealCounts(blocks=1, rows=49)
    assert periods(connection) == [(0, 7)]
    assert power(connection, site) == expected


def test_a_clock_that_jumps_changes_nothing_but_when_it_happens(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(3))
    expected = power(connection, site)
    # Ahead: today is sealed too.
    assert seal(connection, MONDAY_MS + 30 * 365 * DAY_MS).rows == 72
    # Back, and readings go on: they join the week's block when their day is old.
    write(connection, site, "battery", {MONDAY_MS + 3 * DAY_MS: {"power": 72.0}})
    expected[MONDAY_MS + 3 * DAY_MS] = 72.0
    assert seal(connection, MONDAY_MS + 3 * DAY_MS) == SealCounts()
    assert seal(connection, 0) == SealCounts()
    assert power(connection, site) == expected
    assert seal(connection, MONDAY_MS + 6 * DAY_MS) == SealCounts(blocks=1, rows=73)
    assert power(connection, site) == expected


def test_it_can_be_stopped_after_any_transaction_and_goes_on(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(-7, 3))
    seal(connection, LATER_MS - 3 * DAY_MS)
    write_days(connection, site, range(3, 5))
    expected = power(connection, site)
    done = SealCounts()
    transactions = 0
    while hot_rows(connection) or len(periods(connection)) > 2:
        done += seal(connection, MUCH_LATER_MS, rows_at_once=10, between=lambda: False)
        transactions += 1
        assert transactions < 100
        assert power(connection, site) == expected
    # Two days of 24 rows, ten at a time, each begun anew as it was stopped; then two weeks.
    assert (done.blocks, done.weeks) == (6, 2)
    assert transactions == 8


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
        other.execute("PRAGMA busy_timeout = 0")
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


def test_a_file_that_cannot_be_written_is_told(
    database: Database, connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(1))
    with closing(database.connect()) as reader:
        reader.execute("PRAGMA query_only = ON")
        with pytest.raises(StorageUnavailableError, match="may only be read"):
            seal(reader, LATER_MS)
    assert seal(connection, LATER_MS).blocks == 1
