"""A table or a column that comes later, and that nobody taught to be moved, makes these red."""

from contextlib import closing
from pathlib import Path

from joulebook.storage.database import Database
from joulebook.storage.deletion import belongings
from joulebook.storage.moving_tables import EARLY, IN_THEIR_WAY, LATE, LEFT, LEFT_COLUMNS
from joulebook.storage.site_facts import FACTS
from joulebook.storage.tables import column_names

MOVED = {table.name: table for table in (*EARLY, *LATE)}
#: What a row is known by in its own database: never moved, but found or made anew.
OWN = {"id", "site_id", "mark"}


def test_every_table_of_a_site_is_moved_or_left_for_a_reason(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    with closing(database.connect()) as connection:
        there = {each.table for each in belongings(connection)}
    assert not set(MOVED) & set(IN_THEIR_WAY)
    assert there == {*MOVED, *IN_THEIR_WAY, *LEFT}
    assert all(LEFT.values())


def test_every_column_of_a_table_that_is_moved_by_rows_is_told(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    with closing(database.connect()) as connection:
        for name, table in MOVED.items():
            columns = set(column_names(connection, name))
            left = {column for each, column in LEFT_COLUMNS if each == name}
            beside = {"audit": {"site"}, "quarantine": {"digest"}}.get(name, set())
            assert columns - OWN - left - beside == set(table.columns) - OWN
            # A mark is moved as a place among others, or made anew for each row.
            assert ("mark" in columns) == (table.marked or "mark" in table.columns)


def test_every_column_of_the_others_is_known(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    with closing(database.connect()) as connection:
        columns = {name: set(column_names(connection, name)) for name in IN_THEIR_WAY}
    left = {column for each, column in LEFT_COLUMNS if each == "sites"}
    assert columns["sites"] - left == {"id", "name", "timezone", *FACTS}
    assert columns["devices"] == {"id", "site_id", "name"}
    assert columns["series"] == {"id", "device_id", "quantity", "unit", "kind", "slot"}
    assert columns["readings"] == {"device_id", "at_ms", *(f"v{slot}" for slot in range(16))}
    assert columns["blocks"] == {
        *("id", "device_id", "start_ms", "end_ms", "first_ms", "last_ms"),
        *("rows", "format", "checksum", "data"),
    }
    assert columns["quarters"] == {"device_id", "start_ms", "method", "data"}
    assert columns["newest"] == {"series_id", "at_ms", "value"}
    assert columns["quarantine_sizes"] == {"owner", "reason", "kept", "kept_bytes", "let_go"}
