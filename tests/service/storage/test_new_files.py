import os
from pathlib import Path

import pytest

from joulebook.errors import DataRefusedError
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.new_files import new_file
from tests.helpers.small_disks import file_size_limit


def names(directory: Path) -> list[str]:
    return sorted(file.name for file in directory.iterdir())


def test_a_file_has_its_name_only_at_the_end(tmp_path: Path) -> None:
    with new_file(tmp_path / "july.csv") as unfinished:
        unfinished.write_text("time\n", encoding="utf-8")
        assert names(tmp_path) == [unfinished.name]
        assert unfinished.name.startswith("july.csv.")
    assert names(tmp_path) == ["july.csv"]
    assert (tmp_path / "july.csv").read_text(encoding="utf-8") == "time\n"


def test_only_its_owner_may_read_it(tmp_path: Path) -> None:
    with new_file(tmp_path / "july.csv"):
        pass
    assert (tmp_path / "july.csv").stat().st_mode & 0o777 == 0o600


def test_a_fault_leaves_nothing_behind_and_keeps_its_traceback(tmp_path: Path) -> None:
    def fail() -> None:
        with new_file(tmp_path / "july.csv") as unfinished:
            Path(f"{unfinished}-journal").touch()
            raise ValueError("of the writer")

    with pytest.raises(ValueError, match="of the writer"):
        fail()
    assert names(tmp_path) == []


def test_a_file_that_is_there_is_not_touched(tmp_path: Path) -> None:
    there = tmp_path / "july.csv"
    there.write_text("kept", encoding="utf-8")
    with pytest.raises(DataRefusedError, match="a file of that name already"):
        new_file(there).__enter__()
    assert there.read_text(encoding="utf-8") == "kept"


def test_a_file_that_came_meanwhile_is_not_touched(tmp_path: Path) -> None:
    there = tmp_path / "july.csv"

    def late() -> None:
        with new_file(there):
            there.write_text("kept", encoding="utf-8")

    with pytest.raises(DataRefusedError, match="a file of that name already"):
        late()
    assert there.read_text(encoding="utf-8") == "kept"
    assert names(tmp_path) == ["july.csv"]


def test_a_directory_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageUnavailableError, match="cannot be written") as caught:
        new_file(tmp_path / "none" / "july.csv").__enter__()
    assert caught.value.where == str(tmp_path / "none" / "july.csv")


def test_a_disk_without_links_gets_the_name_by_a_move(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(_self: Path, _target: Path) -> None:
        raise PermissionError(1, os.strerror(1))  # what a FAT file system answers

    monkeypatch.setattr(Path, "hardlink_to", no_links)
    with new_file(tmp_path / "july.csv") as unfinished:
        unfinished.write_text("whole", encoding="utf-8")
    assert names(tmp_path) == ["july.csv"]
    assert (tmp_path / "july.csv").read_text(encoding="utf-8") == "whole"


def test_a_disk_that_takes_no_more_leaves_nothing_behind(tmp_path: Path) -> None:
    with (
        pytest.raises(StorageUnavailableError, match="File too large"),
        file_size_limit(1000),
        new_file(tmp_path / "july.csv") as unfinished,
    ):
        unfinished.write_bytes(b"x" * 2000)
    assert names(tmp_path) == []
