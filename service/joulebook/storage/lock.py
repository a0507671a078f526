"""One service for each data directory."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from joulebook.errors import UnavailableError
from joulebook.storage.faults import unusable_directory

FILE_NAME = "joulebook.lock"
#: Held by who moves sites into the directory's database, whether a service runs there or not.
MOVER_NAME = "joulebook.move.lock"


@contextmanager
def only_service(data_dir: Path) -> Iterator[None]:
    """Keep other services out of a data directory, made when missing, for as long as this runs.

    The system lets go of the lock when the process ends, however it ends; the file stays and
    means nothing by itself. Commands that only read or add readings do not ask for it.

    Raises
    ------
    UnavailableError
        If another service runs there.
    StorageUnavailableError
        If the directory cannot be written.
    """
    with _alone(data_dir, FILE_NAME, "another service runs in", "service"):
        yield


@contextmanager
def only_mover(data_dir: Path) -> Iterator[None]:
    """Keep others from moving sites into a data directory's database; as `only_service` does."""
    with _alone(data_dir, MOVER_NAME, "somebody else moves sites into", "move"):
        yield


@contextmanager
def _alone(data_dir: Path, file_name: str, others: str, what: str) -> Iterator[None]:
    path = data_dir / file_name
    try:
        data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    except OSError as error:
        raise unusable_directory(data_dir, error) from error
    try:
        _lock(descriptor, data_dir, others, what)
        yield
    finally:
        os.close(descriptor)


def running_service(data_dir: Path) -> int | None:
    """Return the process of the service that runs in a data directory; ``None``: none does."""
    try:
        descriptor = os.open(data_dir / FILE_NAME, os.O_RDWR)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return int(_process(descriptor) or 0)
    else:
        return None
    finally:
        os.close(descriptor)


def _process(descriptor: int) -> str:
    return os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()


def _lock(descriptor: int, data_dir: Path, others: str, what: str) -> None:
    # Not fcntl's own locks: a process loses those when it closes any descriptor of the file.
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        pid = _process(descriptor)
        raise UnavailableError(
            f"{others} this data directory{f', as process {pid}' if pid else ''}",
            where=data_dir,
            expected=f"one {what} for each data directory",
            next_step=f"end it first{f' (kill {pid})' if pid else ''}, or choose another --data",
        ) from error
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
