"""Files that appear under their names whole or not at all."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from joulebook.errors import DataRefusedError
from joulebook.storage.faults import StorageUnavailableError

#: How the name of a file ends that is still being written. A power cut may leave one behind.
UNFINISHED = ".unfinished"

# SQLite's own files beside a database.
_BESIDE = ("", "-journal", "-wal", "-shm")


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Yield an empty file beside ``path`` to write to; it gets that name at the end.

    It is on disk by then, and only its owner may read it. Whatever goes wrong before leaves
    nothing behind, except for a power cut: that leaves the unfinished file.

    Raises
    ------
    DataRefusedError
        If there is a file of that name. It is not touched.
    StorageUnavailableError
        If the disk is full or the directory cannot be written.
    """
    if path.exists():
        raise _there_already(path)
    unfinished = path.with_name(f"{path.name}.{secrets.token_hex(8)}{UNFINISHED}")
    try:
        with _naming_disk_faults(path):
            os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            yield unfinished
            _sync(unfinished)
            give_name(unfinished, path)
            sync_directory(path.parent)
    except FileExistsError as error:
        raise _there_already(path) from error
    finally:
        for suffix in _BESIDE:
            Path(f"{unfinished}{suffix}").unlink(missing_ok=True)


@contextmanager
def _naming_disk_faults(path: Path) -> Iterator[None]:
    """Raise errors for people where the system cannot write a file."""
    try:
        yield
    except FileExistsError:
        raise
    except OSError as error:
        raise unwritable(path, error.strerror) from error


def unwritable(path: Path, why: object) -> StorageUnavailableError:
    """Return the error of a file that could not be written."""
    return StorageUnavailableError(
        f"the file cannot be written ({why}), nothing of it was left behind",
        where=path,
        expected="a directory that this user may write, on a disk with room",
        next_step="free some space, check the path and its owner, or choose another place",
    )


def give_name(unfinished: Path, path: Path) -> None:
    """Give a file its name, and never take the place of another.

    Raises
    ------
    FileExistsError
        If there is a file of that name.
    """
    try:
        path.hardlink_to(unfinished)  # unlike a move, it never takes the place of another file
    except FileExistsError:
        raise
    except OSError:  # a disk without links, as cards and sticks have: the risk is small
        unfinished.rename(path)


def sync_directory(directory: Path) -> None:
    """Have the names in a directory on disk; a file's content is there by its own sync."""
    _sync(directory)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _there_already(path: Path) -> DataRefusedError:
    return DataRefusedError(
        "there is a file of that name already",
        where=path,
        expected="a name that is free; nothing is ever overwritten",
        next_step="choose another name, or move the file away",
    )
