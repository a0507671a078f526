"""What is sealed and when, whatever the clock does."""

import pytest

from joulebook.storage import sealing
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection
from joulebook.storage.records import Column, SealCounts, Site, Value, Written
from joulebook.storage.sealing import seal
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
    if on_server(connection):
        held = connection.execute("SELECT numbers, texts[3:3] FROM readings").fetchall()
        assert held == [([2.0, 1.0], [b"idle"])]
    else:
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
