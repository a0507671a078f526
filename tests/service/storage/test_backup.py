"""Backups: complete, compact, looked at; and never in the place of anything."""

import shutil
import threading
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import DataRefusedError, UsageError
from joulebook.storage.backup import back_up, restore
from joulebook.storage.database import FILE_NAME, Connection, Database
from joulebook.storage.faults import DatabaseDamagedError, StorageUnavailableError
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS
from tests.helpers.small_disks import file_size_limit, small_disk
from tests.service.storage.batches import BATCH, STEP_MS, batch, batches, names, sound

pytestmark = pytest.mark.on_a_file


def opened(backup: Path, data_dir: Path) -> Path:
    """Put a backup where a database can be opened, without the help of ``restore``."""
    data_dir.mkdir()
    shutil.copy(backup, data_dir / FILE_NAME)
    return data_dir


def test_a_backup_is_one_file_with_everything_and_no_free_room(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    for number in range(100):
        batch(connection, site, number)
    connection.execute("DELETE FROM readings WHERE at_ms >= ?", (NOON_MS + 20 * BATCH * STEP_MS,))
    with_result(connection, site)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    file = tmp_path / "copy.sqlite3"
    findings = back_up(database.data_dir, file, result_fault=sound)
    assert findings.damage == []
    assert findings.checked["rows"] == 20 * BATCH
    assert file.stat().st_size < database.path.stat().st_size
    assert file.stat().st_mode & 0o777 == 0o600
    assert batches(opened(file, tmp_path / "house")) == 20


def test_what_is_only_in_the_log_is_in_the_backup(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    connection.execute("PRAGMA wal_autocheckpoint = 0")
    batch(connection, site, 0)
    back_up(database.data_dir, tmp_path / "copy.sqlite3", result_fault=sound)
    assert batches(opened(tmp_path / "copy.sqlite3", tmp_path / "house")) == 1


def test_every_backup_beside_a_writer_holds_a_prefix_of_what_was_acknowledged(
    database: Database, site: Site, tmp_path: Path
) -> None:
    acknowledged, stop, begun = [0], threading.Event(), threading.Event()

    def writer() -> None:
        with closing(database.connect()) as connection:
            while not stop.is_set():
                batch(connection, site, acknowledged[0])
                acknowledged[0] += 1
                begun.set()

    thread = threading.Thread(target=writer)
    thread.start()
    assert begun.wait(30)
    seen = []
    for turn in range(12):
        before = acknowledged[0]
        back_up(database.data_dir, tmp_path / f"{turn}.sqlite3", result_fault=sound)
        seen.append((before, tmp_path / f"{turn}.sqlite3", acknowledged[0]))
    stop.set()
    thread.join(30)
    for before, file, after in seen:
        # One more may have been committed and not yet counted.
        assert before <= batches(opened(file, tmp_path / f"{file.stem}-house")) <= after + 1


def test_a_file_that_is_there_is_not_overwritten(database: Database, tmp_path: Path) -> None:
    file = tmp_path / "copy.sqlite3"
    file.write_bytes(b"kept")
    with pytest.raises(DataRefusedError, match="a file of that name already"):
        back_up(database.data_dir, file, result_fault=sound)
    assert file.read_bytes() == b"kept"


def test_a_directory_without_a_database_is_a_usage_error(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no database in this data directory"):
        back_up(tmp_path, tmp_path / "copy.sqlite3", result_fault=sound)
    assert names(tmp_path) == set()


def test_a_full_disk_leaves_nothing_behind_and_says_so(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    for number in range(40):
        batch(connection, site, number)
    disk = tmp_path / "disk"
    with small_disk(disk, 65_536):
        with pytest.raises(StorageUnavailableError, match="nothing of it was left") as caught:
            back_up(database.data_dir, disk / "copy.sqlite3", result_fault=sound)
        assert "full" in caught.value.what
        assert caught.value.where == str(disk / "copy.sqlite3")
        assert names(disk) == set()
        back_up(database.data_dir, tmp_path / "copy.sqlite3", result_fault=sound)
        with pytest.raises(StorageUnavailableError, match="nothing of it was left"):
            restore(tmp_path / "copy.sqlite3", disk, result_fault=sound)
        assert names(disk) == {"joulebook.lock"}


def test_a_disk_that_takes_no_more_leaves_nothing_behind(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    for number in range(40):
        batch(connection, site, number)
    back_up(database.data_dir, tmp_path / "copy.sqlite3", result_fault=sound)
    (tmp_path / "new").mkdir()
    with file_size_limit(65_536):
        with pytest.raises(StorageUnavailableError, match="nothing of it was left"):
            back_up(database.data_dir, tmp_path / "new" / "copy.sqlite3", result_fault=sound)
        with pytest.raises(StorageUnavailableError, match="nothing of it was left"):
            restore(tmp_path / "copy.sqlite3", tmp_path / "new", result_fault=sound)
    assert names(tmp_path / "new") == {"joulebook.lock"}


def spoil(database: Database) -> None:
    """Damage the page where the readings begin."""
    with closing(database.connect()) as connection:
        (size,) = connection.execute("PRAGMA page_size").fetchone()
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'readings'"
        ).fetchone()
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with database.path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)


def test_a_damaged_database_makes_no_backup(database: Database, tmp_path: Path) -> None:
    spoil(database)
    with pytest.raises(DatabaseDamagedError) as caught:
        back_up(database.data_dir, tmp_path / "copy.sqlite3", result_fault=sound)
    assert caught.value.where == str(database.path)
    assert not [name for name in names(tmp_path) if name.startswith("copy")]


def bad(_method: str, _result: bytes) -> str | None:
    return "of no sense"


def with_result(connection: Connection, site: Site) -> None:
    connection.execute(
        "INSERT INTO day_results VALUES (?, '2026-03-01', 'day-1', x'7b7d', 0)", (site.id,)
    )


def test_what_is_damaged_is_kept_only_when_asked(
    database: Database, site: Site, connection: Connection, tmp_path: Path
) -> None:
    with_result(connection, site)
    file = tmp_path / "copy.sqlite3"
    with pytest.raises(DatabaseDamagedError, match="of no sense"):
        back_up(database.data_dir, file, result_fault=bad)
    assert not file.exists()
    findings = back_up(database.data_dir, file, result_fault=bad, keep_damaged=True)
    assert findings.damage == ["the result of studio, 2026-03-01, cannot be read: of no sense"]
    with pytest.raises(DatabaseDamagedError, match="of no sense"):
        restore(file, tmp_path / "house", result_fault=bad)
    assert names(tmp_path / "house") == {"joulebook.lock"}
    restore(file, tmp_path / "house", result_fault=bad, keep_damaged=True)
    assert batches(tmp_path / "house") == 0
