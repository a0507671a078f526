"""A restored backup is the database; what is there, runs or is no sound backup is left alone."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import DataRefusedError, SchemaError, UnavailableError, UsageError
from joulebook.storage.backup import back_up, restore
from joulebook.storage.database import FILE_NAME, Connection, Database
from joulebook.storage.faults import DatabaseDamagedError
from joulebook.storage.findings import Findings
from joulebook.storage.lock import only_service
from joulebook.storage.records import Site
from tests.service.storage.batches import BATCH, batch, batches, names, sound

pytestmark = pytest.mark.on_a_file


def test_a_restored_backup_is_the_database(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    for number in range(3):
        batch(connection, site, number)
    file = tmp_path / "copy.sqlite3"
    back_up(database.data_dir, file, result_fault=sound)
    findings = restore(file, tmp_path / "new" / "house", result_fault=sound)
    assert findings == Findings(findings.checked, [])
    assert findings.checked["readings"] == 3 * BATCH
    assert names(tmp_path / "new" / "house") == {FILE_NAME, "joulebook.lock"}
    assert batches(tmp_path / "new" / "house") == 3


def test_a_copy_of_a_live_database_can_be_restored_too(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    batch(connection, site, 0)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(database.path, tmp_path / "plain-copy")  # its header says that it has a log
    restore(tmp_path / "plain-copy", tmp_path / "house", result_fault=sound)
    assert names(tmp_path / "house") == {FILE_NAME, "joulebook.lock"}
    assert batches(tmp_path / "house") == 1


@pytest.mark.parametrize("there", [FILE_NAME, f"{FILE_NAME}-wal", f"{FILE_NAME}-journal"])
def test_restore_overwrites_nothing_and_takes_over_no_old_log(
    database: Database, tmp_path: Path, there: str
) -> None:
    file = tmp_path / "copy.sqlite3"
    back_up(database.data_dir, file, result_fault=sound)
    (tmp_path / "house").mkdir()
    (tmp_path / "house" / there).write_bytes(b"kept")
    with pytest.raises(DataRefusedError, match="has a database already, or a part of one"):
        restore(file, tmp_path / "house", result_fault=sound)
    assert (tmp_path / "house" / there).read_bytes() == b"kept"
    assert names(tmp_path / "house") == {there, "joulebook.lock"}


def test_restore_keeps_out_of_a_running_services_directory(
    database: Database, tmp_path: Path
) -> None:
    file = tmp_path / "copy.sqlite3"
    back_up(database.data_dir, file, result_fault=sound)
    with (
        only_service(tmp_path / "house"),
        pytest.raises(UnavailableError, match="another service runs"),
    ):
        restore(file, tmp_path / "house", result_fault=sound)
    assert names(tmp_path / "house") == {"joulebook.lock"}


def test_restore_refuses_what_is_no_backup(database: Database, tmp_path: Path) -> None:
    house = tmp_path / "house"
    with pytest.raises(UsageError, match="there is no such backup"):
        restore(tmp_path / "none", house, result_fault=sound)
    text = tmp_path / "text"
    text.write_text("no database", encoding="utf-8")
    with pytest.raises(SchemaError, match="no database of joulebook"):
        restore(text, house, result_fault=sound)
    newer = tmp_path / "newer"
    back_up(database.data_dir, newer, result_fault=sound)
    with closing(sqlite3.connect(newer)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(SchemaError, match="has schema 9999"):
        restore(newer, house, result_fault=sound)
    assert not house.exists()


def test_restore_refuses_a_backup_with_a_flipped_page(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    for number in range(40):
        batch(connection, site, number)
    file = tmp_path / "copy.sqlite3"
    back_up(database.data_dir, file, result_fault=sound)
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    with file.open("r+b") as stream:
        # In the middle are readings; what the file needs to be opened at all is at its ends.
        stream.seek(file.stat().st_size // size // 2 * size)
        stream.write(b"\xff" * 64)
    with pytest.raises(DatabaseDamagedError) as caught:
        restore(file, tmp_path / "house", result_fault=sound)
    assert caught.value.where == str(file)
    # Where the page is one that the file needs to be opened at all, the house is not even begun.
    house = tmp_path / "house"
    assert not house.exists() or names(house) == {"joulebook.lock"}
