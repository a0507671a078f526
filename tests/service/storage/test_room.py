import os
import shutil
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.room import room_of
from tests.helpers.small_disks import small_disk


def test_a_disk_is_as_the_system_says(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    room = room_of(tmp_path)
    usage = shutil.disk_usage(tmp_path)
    assert room.size_bytes == usage.total
    # Others write meanwhile.
    assert room.free_bytes == pytest.approx(usage.free, rel=0.05)
    assert room.database_bytes >= database.path.stat().st_size > 0
    assert room.writable
    database.close()


def test_a_small_disk_has_its_size_and_loses_room_and_files(tmp_path: Path) -> None:
    place = tmp_path / "small"
    with small_disk(place, 2_000_000):
        before = room_of(place)
        (place / "file").write_bytes(bytes(500_000))
        after = room_of(place)
    assert before.size_bytes == 2_002_944 - 2_002_944 % os.sysconf("SC_PAGE_SIZE")
    assert before.free_bytes - after.free_bytes >= 500_000
    assert before.free_files is not None
    assert after.free_files == before.free_files - 1
    assert before.database_bytes == 0


def test_a_disk_without_a_limit_of_files_has_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.statvfs(tmp_path)
    # As btrfs answers: f_files 0, statvfs(3).
    without = os.statvfs_result([*real[:5], 0, 0, 0, *real[8:]])
    monkeypatch.setattr(os, "statvfs", lambda _path: without)
    assert room_of(tmp_path).free_files is None


def test_a_directory_that_went_away_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        room_of(tmp_path / "gone")
