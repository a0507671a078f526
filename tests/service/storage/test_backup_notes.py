from pathlib import Path

import pytest

from joulebook.storage.backup_notes import FILE_NAME, BackupNote, last_backup, note_backup

NOTE = BackupNote(at_ms=1_780_000_000_000, file="/media/stick/monday.sqlite3", size_bytes=1234)


def test_the_last_backup_is_remembered(tmp_path: Path) -> None:
    assert last_backup(tmp_path) is None
    note_backup(tmp_path, NOTE)
    assert last_backup(tmp_path) == NOTE
    later = BackupNote(at_ms=1_790_000_000_000, file="/media/stick/friday", size_bytes=1300)
    note_backup(tmp_path, later)
    assert last_backup(tmp_path) == later
    assert [file.name for file in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"at_ms": 1}', '{"at_ms": "x", "file": 1}'])
def test_a_note_that_is_none_is_no_backup(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE_NAME).write_text(text)
    assert last_backup(tmp_path) is None


def test_a_directory_that_is_not_there_cannot_be_noted_in(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        note_backup(tmp_path / "gone", NOTE)
