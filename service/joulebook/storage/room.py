"""How much room the disk of a data directory has left."""

import os
from dataclasses import dataclass
from pathlib import Path

from joulebook.storage.database import FILE_NAME


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The disk of a data directory.

    Attributes
    ----------
    free_bytes, size_bytes : int
        What this user may still take, and the whole disk.
    free_files : int or None
        Files that may still be made; ``None`` where the disk has no such limit.
    database_bytes : int
        The database with its write-ahead log; 0 where there is none in it, as with a server.
    writable : bool
        Whether this user may write into the directory, as far as can be told without doing it.
    """

    free_bytes: int
    size_bytes: int
    free_files: int | None
    database_bytes: int
    writable: bool


def room_of(data_dir: Path) -> Room:
    """Return the room of a data directory.

    Raises
    ------
    OSError
        If the directory is not there, or its disk has gone.
    """
    disk = os.statvfs(data_dir)
    files = (data_dir / f"{FILE_NAME}{suffix}" for suffix in ("", "-wal"))
    return Room(
        free_bytes=disk.f_bavail * disk.f_frsize,
        size_bytes=disk.f_blocks * disk.f_frsize,
        free_files=disk.f_favail if disk.f_files else None,
        database_bytes=sum(file.stat().st_size for file in files if file.exists()),
        writable=os.access(data_dir, os.W_OK | os.X_OK),
    )
