"""A look at everything finds what was changed behind SQLite's back, and names it."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import SchemaError, UsageError
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.faults import DatabaseDamagedError
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.verify import verify, verify_file
from tests.helpers.databases import NOON_MS, write

pytestmark = pytest.mark.on_a_file

COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))


def json_fault(_method: str, result: bytes) -> str | None:
    try:
        json.loads(result)
    except ValueError as error:
        return str(error)
    return None


def damage(database: Database) -> list[str]:
    return verify(database, result_fault=json_fault).damage


@pytest.fixture(autouse=True)
def filled(connection: Connection, site: Site) -> None:
    """Three days' worth of everything: 300 rows of 3 readings, one of them missing once."""
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + at * 864_000: {"power": at / 3, "mode": "float", "running": at % 2 == 0}
        for at in range(300)
    }
    rows[NOON_MS].pop("power")
    write(connection, site, "inverter", rows, COLUMNS)
    with transaction(connection):
        for day in (1, 2, 3):
            date = f"2026-03-0{day}"
            text = json.dumps({"date": date}).encode()
            connection.execute(
                "INSERT INTO day_results VALUES (?, ?, 'day-1', ?, 0)", (site.id, date, text)
            )


def test_a_sound_database_is_counted(database: Database) -> None:
    findings = verify(database, result_fault=json_fault)
    assert findings.damage == []
    found = {name: findings.checked[name] for name in ("sites", "devices", "series")}
    assert found == {"sites": 1, "devices": 1, "series": 3}
    assert findings.checked["rows"] == 300
    assert findings.checked["readings"] == 899
    assert findings.checked["day results"] == 3
    assert findings.checked["pages"] > 10
    findings.refuse_damage(database.path)


def test_it_waits_for_no_writer_and_holds_none_up(
    database: Database, connection: Connection
) -> None:
    with transaction(connection):
        connection.execute("DELETE FROM readings")
        assert verify(database, result_fault=json_fault).checked["rows"] == 300


@pytest.mark.parametrize("place", [0, 1, 7, 15, 21])
def test_a_byte_flipped_in_a_result_is_named_where_it_makes_it_unreadable(
    database: Database, connection: Connection, place: int
) -> None:
    (text,) = connection.execute(
        "SELECT result FROM day_results WHERE day = '2026-03-02'"
    ).fetchone()
    flipped = bytearray(text)
    flipped[place] ^= 0x80
    connection.execute(
        "UPDATE day_results SET result = ? WHERE day = '2026-03-02'", (bytes(flipped),)
    )
    [told] = damage(database)
    assert told.startswith("the result of studio, 2026-03-02, cannot be read: ")


def test_a_result_of_no_date_is_named(database: Database, connection: Connection) -> None:
    connection.execute("UPDATE day_results SET day = '2026-03-0:' WHERE day = '2026-03-03'")
    assert damage(database) == [
        "the result of studio, 2026-03-0:, cannot be read: dated '2026-03-0:'"
    ]


def root_page(connection: Connection, name: str) -> int:
    """Return where in the file a table or an index begins. [bytes]"""
    (page,) = connection.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)
    ).fetchone()
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    return int((page - 1) * size)


def flip(database: Database, connection: Connection, place: int, count: int = 1) -> None:
    """Flip a bit of bytes in the file itself, when the log is empty and nobody has it open."""
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    with database.path.open("r+b") as file:
        file.seek(place)
        found = file.read(count)
        file.seek(place)
        file.write(bytes(byte ^ 0x40 for byte in found))


def test_a_byte_flipped_in_an_index_is_found(database: Database, connection: Connection) -> None:
    index = root_page(connection, "sqlite_autoindex_series_1")
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    # The last bytes of a page are its first entry's: (device, quantity).
    flip(database, connection, index + size - 4)
    assert any("sqlite_autoindex_series_1" in sentence for sentence in damage(database))


def test_a_page_that_is_no_page_is_found_and_keeps_nobody_from_reading_on(
    database: Database, connection: Connection
) -> None:
    flip(database, connection, root_page(connection, "readings"), count=8)
    findings = verify(database, result_fault=json_fault)
    # Some versions of SQLite find words for it, others stop; either way it is told by its place.
    places = [sentence.partition(":")[0] for sentence in findings.damage]
    assert set(places) == {"pages", "readings"}
    assert findings.checked["day results"] == 3
    with pytest.raises(DatabaseDamagedError, match=r"\(and \d+ more\)") as caught:
        findings.refuse_damage(database.path)
    assert caught.value.exit_status == 4


def test_a_file_that_cannot_even_be_opened_is_damaged(
    database: Database, connection: Connection
) -> None:
    flip(database, connection, 100, count=16)  # where the list of tables begins
    [told] = damage(database)
    assert told.startswith("file: ")
    assert "malformed" in told


def test_readings_of_another_kind_are_counted(database: Database, connection: Connection) -> None:
    connection.execute("UPDATE readings SET v0 = 'x' WHERE at_ms > ?", (NOON_MS + 297 * 864_000,))
    assert damage(database) == ["2 readings of studio/inverter.power are no number"]


def test_readings_without_series_or_device_are_counted(
    database: Database, connection: Connection
) -> None:
    connection.execute("UPDATE readings SET v7 = 1.0 WHERE at_ms = ?", (NOON_MS,))
    connection.execute("INSERT INTO readings (device_id, at_ms, v0) VALUES (99, 0, 1.0)")
    assert damage(database) == [
        "1 readings of studio/inverter in v7 have no series",
        "1 readings of device 99, which is not there in v0 have no series",
    ]


def test_a_series_whose_kind_has_a_flipped_byte_is_named(
    database: Database, connection: Connection
) -> None:
    connection.execute("PRAGMA ignore_check_constraints = ON")
    connection.execute("UPDATE series SET kind = CAST(x'6eff6d626572' AS TEXT) WHERE slot = 0")
    told = damage(database)
    assert "299 readings of studio/inverter.power are no n\ufffdmber" in told


def test_a_row_whose_parent_is_gone_is_named(database: Database, connection: Connection) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("UPDATE devices SET site_id = 7")
    told = damage(database)
    assert "a row of devices refers to a row of sites that is not there" in told


def test_a_directory_without_a_database_is_a_usage_error_and_stays_so(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no database in this data directory"):
        verify(Database(tmp_path / "none"), result_fault=json_fault)
    assert not (tmp_path / "none").exists()


def test_a_file_of_somebody_else_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "other")) as other:
        other.execute("CREATE TABLE other (id)")
    with pytest.raises(SchemaError, match="no database of joulebook"):
        verify_file(tmp_path / "other", result_fault=json_fault)


def test_a_database_of_the_first_schema_is_looked_at_and_not_migrated(tmp_path: Path) -> None:
    saved = Path(__file__).parents[2] / "data" / "schema-0001.sql"
    with closing(sqlite3.connect(tmp_path / "saved")) as old:
        old.executescript(saved.read_text(encoding="utf-8"))
    findings = verify_file(tmp_path / "saved", result_fault=json_fault)
    assert findings.damage == []
    assert findings.checked["readings"] > 0
    assert "blocks" not in findings.checked
    with closing(sqlite3.connect(tmp_path / "saved")) as old:
        assert old.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
