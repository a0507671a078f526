"""Damaged blocks: named, kept, and no hindrance to their neighbours."""

import logging

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.storage.blockstore import check_blocks, damaged_blocks
from joulebook.storage.database import Connection
from joulebook.storage.days import clear_results, dirty_days
from joulebook.storage.reading import read_device, readings_span, stream_device
from joulebook.storage.records import SealCounts, Site, Written
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

WEDNESDAY = Span(MONDAY_MS + 2 * DAY_MS, MONDAY_MS + 3 * DAY_MS)


@pytest.fixture
def sealed(connection: Connection, site: Site) -> dict[int, float]:
    """Five sealed days of a battery, and all of their powers."""
    write_days(connection, site, range(5))
    seal(connection, LATER_MS)
    return power(connection, site)


def damage(connection: Connection, at_byte: int | None) -> None:
    """Flip a bit of Wednesday's block, or cut off its second half."""
    (data,) = connection.execute(
        "SELECT data FROM blocks WHERE start_ms = ?", (WEDNESDAY.start_ms,)
    ).fetchone()
    changed = bytearray(data)
    if at_byte is None:
        del changed[len(data) // 2 :]
    else:
        changed[at_byte] ^= 0x10
    connection.execute(
        "UPDATE blocks SET data = ? WHERE start_ms = ?", (bytes(changed), WEDNESDAY.start_ms)
    )


# A flipped bit of the head, one of the last column's end, and a torn block.
@pytest.mark.parametrize("at_byte", [9, -1, None])
def test_a_damaged_block_is_named_and_its_neighbours_are_read(
    connection: Connection,
    site: Site,
    sealed: dict[int, float],
    at_byte: int | None,
    caplog: pytest.LogCaptureFixture,
) -> None:
    damage(connection, at_byte)
    whole = Span(MONDAY_MS, MONDAY_MS + 5 * DAY_MS)
    readings = read_device(connection, site.id, "battery", whole)
    expected = [at for at in sealed if not WEDNESDAY.start_ms <= at < WEDNESDAY.end_ms]
    assert readings.at_ms.tolist() == expected
    assert readings.values["power"].tolist() == [sealed[at] for at in expected]
    (damaged,) = readings.damaged
    assert (damaged.device, damaged.span, damaged.rows) == ("studio/battery", WEDNESDAY, 24)
    assert f"block {damaged.block_id} of studio/battery, 2026-03-04 (UTC), is damaged" in str(
        damaged
    )
    assert [(record.levelno, record.getMessage()) for record in caplog.records] == [
        (logging.ERROR, str(damaged))
    ]
    assert damaged_blocks(connection) == [damaged]
    assert readings_span(connection, site.id) == Span(min(sealed), max(sealed) + 1)
    before = connection.execute("SELECT * FROM blocks").fetchall()
    assert seal(connection, LATER_MS) == SealCounts()
    assert connection.execute("SELECT * FROM blocks").fetchall() == before


def test_columns_that_are_not_damaged_are_read(
    connection: Connection, site: Site, sealed: dict[int, float]
) -> None:
    damage(connection, -1)  # in soc, the last column
    assert power(connection, site) == sealed
    readings = read_device(connection, site.id, "battery", WEDNESDAY, quantities=["soc"])
    assert len(readings.at_ms) == 0
    assert len(readings.damaged) == 1


def test_late_readings_of_a_damaged_block_stay_hot(
    connection: Connection, site: Site, sealed: dict[int, float]
) -> None:
    damage(connection, 9)
    late = {WEDNESDAY.start_ms: {"power": -1.0}, WEDNESDAY.end_ms: {"power": -2.0}}
    # What the block held cannot be compared: a value of that day counts as new, once.
    assert write(connection, site, "battery", late) == Written(new=1, replaced=1)
    assert write(connection, site, "battery", late) == Written(repeated=2)
    counts = seal(connection, LATER_MS)
    assert (counts.blocks, len(counts.damaged)) == (1, 1)
    assert hot_rows(connection) == 1
    now = power(connection, site)
    assert now[WEDNESDAY.start_ms] == -1.0
    assert now[WEDNESDAY.end_ms] == -2.0
    assert now[MONDAY_MS] == sealed[MONDAY_MS]


def test_a_week_with_a_damaged_day_is_not_joined(
    connection: Connection, site: Site, sealed: dict[int, float]
) -> None:
    damage(connection, None)
    write_days(connection, site, range(7, 9))
    counts = seal(connection, MUCH_LATER_MS)
    assert (counts.blocks, counts.weeks, len(counts.damaged)) == (1, 0, 1)
    assert periods(connection) == [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (7, 14)]
    assert len(sealed) == 5 * 24


def test_days_of_a_damaged_block_are_computed_anew_too(connection: Connection, site: Site) -> None:
    write_days(connection, site, range(6))
    seal(connection, MUCH_LATER_MS)
    connection.execute("UPDATE blocks SET data = ?", (b"\0",))
    clear_results(connection, site.id)
    # From Sunday on, as the first reading is at midnight, and 300 s reach that far.
    days = [dirty.day.isoformat() for dirty in dirty_days(connection)]
    assert days == [f"2026-03-0{day}" for day in range(7, 0, -1)]


def test_a_checksum_that_is_not_that_of_the_block_is_damage(
    connection: Connection, sealed: dict[int, float]
) -> None:
    assert damaged_blocks(connection) == []
    connection.execute("UPDATE blocks SET checksum = checksum + 1 WHERE start_ms = ?", (MONDAY_MS,))
    connection.execute(
        "UPDATE blocks SET rows = rows + 1 WHERE start_ms = ?", (MONDAY_MS + DAY_MS,)
    )
    whys = [damaged.why for damaged in damaged_blocks(connection)]
    assert whys == [
        "the checksum beside the block is not that of its bytes",
        "24 rows, where 25 belong",
    ]
    assert len(sealed) == 5 * 24


def test_blocks_are_checked_some_at_a_time(
    connection: Connection, sealed: dict[int, float]
) -> None:
    damage(connection, 9)
    checked, last_id = 0, 0
    found = []
    while True:
        next_id, damaged = check_blocks(connection, last_id, count=2)
        checked += 1
        found += damaged
        if next_id is None:
            break
        assert next_id > last_id
        last_id = next_id
    assert checked == 3
    assert [damaged.span for damaged in found] == [WEDNESDAY]
    assert len(sealed) == 5 * 24


def test_a_stream_is_what_one_read_gives_a_week_at_a_time(
    connection: Connection, site: Site
) -> None:
    write_days(connection, site, range(-10, 20))
    write_days(connection, site, range(40, 42))
    seal(connection, LATER_MS)
    write(connection, site, "battery", {MONDAY_MS + 5: {"soc": 0.25}})
    span = Span(MONDAY_MS - 9 * DAY_MS, MONDAY_MS + 41 * DAY_MS)
    whole = read_device(connection, site.id, "battery", span)
    parts = list(stream_device(connection, site.id, "battery", span))
    assert len(parts) == 6  # nothing of the two weeks without readings
    assert max(part.at_ms[-1] - part.at_ms[0] for part in parts) < 7 * DAY_MS
    np.testing.assert_array_equal(np.concatenate([part.at_ms for part in parts]), whole.at_ms)
    for quantity, values in whole.values.items():
        together = np.concatenate([part.values[quantity] for part in parts])
        np.testing.assert_array_equal(together, values)
    damage(connection, 9)
    some = list(stream_device(connection, site.id, "battery", WEDNESDAY, quantities=["soc"]))
    assert [(len(part.at_ms), len(part.damaged)) for part in some] == [(0, 1)]
