"""Stored quarter hours are looked at too; those of an earlier method only counted."""

import pytest

from joulebook.storage.database import Connection, Database
from joulebook.storage.findings import Findings
from joulebook.storage.records import Site
from joulebook.storage.verify import verify
from joulebook.summaries.quarters import rebuild_quarters
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file


@pytest.fixture(autouse=True)
def rolled_up(database: Database, site: Site, connection: Connection) -> None:
    """Quarter hours of two devices in two months each."""
    for device in ("grid", "pv"):
        rows = {NOON_MS + at * 3_600_000: {"power": at / 8} for at in range(24 * 40)}
        write(connection, site, device, rows)
    rebuild_quarters(database, site)


def looked_at(database: Database) -> Findings:
    return verify(database, result_fault=lambda _method, _result: None)


def test_sound_ones_are_counted(database: Database) -> None:
    findings = looked_at(database)
    assert findings.damage == []
    assert findings.checked["months of quarter hours"] == 4


def test_any_byte_flipped_is_found_and_its_month_named(
    database: Database, connection: Connection
) -> None:
    (data,) = connection.execute("SELECT data FROM quarters WHERE device_id = 2").fetchone()
    for place in range(0, len(data), 101):
        flipped = bytearray(data)
        flipped[place] ^= 0x10
        connection.execute(
            "UPDATE quarters SET data = ? WHERE device_id = 2 AND start_ms < ?",
            (bytes(flipped), NOON_MS),
        )
        [told] = looked_at(database).damage
        assert told.startswith(
            "the quarter hours of studio/pv, 2026-03 (UTC), which can be computed"
        )


def test_a_month_that_is_none_is_found(database: Database, connection: Connection) -> None:
    for device_id, start_ms in ((1, 1 << 61), (2, 1 << 55)):
        connection.execute(
            "UPDATE quarters SET start_ms = ? WHERE device_id = ? AND start_ms < ?",
            (start_ms, device_id, NOON_MS),
        )
    assert len(looked_at(database).damage) == 2


def test_those_of_an_earlier_method_are_only_counted(
    database: Database, connection: Connection
) -> None:
    connection.execute("UPDATE quarters SET method = 'quarter-0', data = x'00' WHERE device_id = 1")
    findings = looked_at(database)
    assert findings.damage == []
    assert findings.checked["months of quarter hours"] == 2
    assert findings.checked["months of an earlier method"] == 2
