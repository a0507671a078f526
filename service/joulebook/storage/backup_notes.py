"""When the last backup was made, noted in a file beside the database.

Beside it and not in it: a backup of a disk that may only be read is a good backup too, and a
restored database must not believe in the backups of the one that was lost.
"""

import json
import os
from dataclasses import dataclass
from pathlib import Path

from joulebook.storage.new_files import UNFINISHED, sync_directory

FILE_NAME = "joulebook.backup.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupNote:
    """The last backup that was made, looked at and found whole.

    Attributes
    ----------
    at_ms : int
        When. [ms, UTC epoch]
    file : str
        Its path then; it may have been moved since.
    size_bytes : int
        Its size.
    """

    at_ms: int
    file: str
    size_bytes: int


def note_backup(data_dir: Path, note: BackupNote) -> None:
    """Note a backup in place of the one before it; the note is there whole, or the old one is.

    Raises
    ------
    OSError
        If the directory cannot be written. The backup is as good as before.
    """
    unfinished = data_dir / f"{FILE_NAME}{UNFINISHED}"
    text = json.dumps({"at_ms": note.at_ms, "file": note.file, "size_bytes": note.size_bytes})
    with unfinished.open("w", encoding="utf-8") as file:
        file.write(f"{text}\n")
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(data_dir / FILE_NAME)
    sync_directory(data_dir)


def last_backup(data_dir: Path) -> BackupNote | None:
    """Return the last backup that was noted; ``None`` where none is, or the note is no note."""
    try:
        found = json.loads((data_dir / FILE_NAME).read_text(encoding="utf-8"))
        return BackupNote(
            at_ms=int(found["at_ms"]), file=str(found["file"]), size_bytes=int(found["size_bytes"])
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
