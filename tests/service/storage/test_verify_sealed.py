"""Every byte of every block is looked at."""

import pytest

from joulebook.storage.blocks.block import checksum
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file

DAY_MS = 86_400_000
COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))


def damage(database: Database) -> list[str]:
    return verify(database, result_fault=lambda _method, _result: None).damage


@pytest.fixture(autouse=True)
def sealed(connection: Connection, site: Site) -> None:
    """Two days in a block each, from noon to midnight; one power is missing in each."""
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + day * DAY_MS + at * 60_000: {
            "power": at / 8 if at else None,
            "mode": "float" if at < 100 else "bulk",
            "running": at % 2 == 0,
        }
        for day in (0, 1)
        for at in range(300)
    }
    write(connection, site, "inverter", rows, COLUMNS)
    seal(connection, NOON_MS + 5 * DAY_MS)


def change(connection: Connection, setting: str) -> None:
    """Change something of the second block's row."""
    connection.execute(
        f"UPDATE blocks SET {setting} WHERE start_ms = (SELECT max(start_ms) FROM blocks)"
    )


def put(connection: Connection, data: bytes, crc: int) -> None:
    connection.execute(
        "UPDATE blocks SET data = ?, checksum = ? "
        "WHERE start_ms = (SELECT max(start_ms) FROM blocks)",
        (data, crc),
    )


def stored(connection: Connection) -> bytes:
    (data,) = connection.execute("SELECT data FROM blocks ORDER BY start_ms DESC").fetchone()
    return bytes(data)


def test_sound_blocks_are_counted(database: Database) -> None:
    findings = verify(database, result_fault=lambda _method, _result: None)
    assert findings.damage == []
    assert findings.checked["blocks"] == 2
    assert findings.checked["sealed rows"] == 600
    assert findings.checked["sealed readings"] == 2 * (3 * 300 - 1)
    assert findings.checked["rows"] == 0


def test_any_byte_flipped_in_a_block_is_found_and_its_day_named(
    database: Database, connection: Connection
) -> None:
    data = stored(connection)
    for place in range(0, len(data), 7):
        flipped = bytearray(data)
        flipped[place] ^= 0x10
        put(connection, bytes(flipped), checksum(data))
        [told] = damage(database)
        assert "of studio/inverter, 2026-03-02 (UTC), is damaged: the checksum beside it" in told


def test_a_block_cut_short_is_found_although_its_checksum_is_right(
    database: Database, connection: Connection
) -> None:
    data = stored(connection)[:-9]
    put(connection, data, checksum(data))
    [told] = damage(database)
    assert "2026-03-02 (UTC), is damaged: " in told


@pytest.mark.parametrize(
    ("setting", "why"),
    [
        ("rows = 299", "300 rows, where 299 belong"),
        (f"start_ms = start_ms - {DAY_MS} + 1", "it begins before the block before it ends"),
        (f"end_ms = end_ms - {DAY_MS // 2}", "it holds readings of another time"),
        (f"start_ms = start_ms + {DAY_MS - 1}", "it holds readings of another time"),
        ("end_ms = 0", "it holds readings of another time"),
        ("data = CAST(data AS TEXT)", "the checksum beside it is not that of its bytes"),
    ],
)
def test_a_row_that_says_another_thing_than_its_block_is_found(
    database: Database, connection: Connection, setting: str, why: str
) -> None:
    change(connection, setting)
    [told] = damage(database)
    assert told.endswith(f"is damaged: {why}")


def test_a_block_of_a_series_that_is_not_there_is_found(
    database: Database, connection: Connection
) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("DELETE FROM series WHERE quantity = 'mode'")
    assert len([told for told in damage(database) if "none of the device's texts" in told]) == 2


def test_a_block_of_a_device_that_is_not_there_is_found(
    database: Database, connection: Connection
) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")
    change(connection, "device_id = 99")
    told = damage(database)
    assert "a row of blocks refers to a row of devices that is not there" in told
    assert any("of device 99, 2026-03-02 (UTC), is damaged: its series 1" in one for one in told)
