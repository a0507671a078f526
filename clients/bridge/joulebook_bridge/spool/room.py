"""How much may wait on disk, and what happens when there is more."""

import errno
import logging
import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from joulebook_bridge.batch import Instant
from joulebook_bridge.spool.segments import Segment

_LOG = logging.getLogger(__name__)
_REMIND_MS = 3_600_000
_LOOK_EVERY_MS = 5_000
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT)
_ENOUGH = 0.95  # of the most that may wait: once closed, it opens again below this


class Room:
    """The limits, and the choice between old readings and new ones.

    Parameters
    ----------
    most_bytes : int
        How much may wait.
    keep_free_bytes : int
        How much of that disk is left to others.
    drop_oldest : bool
        Whether the oldest readings make room; else new ones are not taken while it is full.
    """

    def __init__(self, *, most_bytes: int, keep_free_bytes: int, drop_oldest: bool) -> None:
        self._most_bytes = most_bytes
        self._keep_free_bytes = keep_free_bytes
        self._drop_oldest = drop_oldest
        self._told_ms: int | None = None
        self._failed_ms: int | None = None
        self._looked_ms: int | None = None
        self._disk_is_full = False
        self.is_open = True

    def found_fault(self, error: OSError, now: Instant) -> bool:
        """Note that a write failed, and return whether making room may help.

        A disk that fails otherwise must not cost the readings that are on it already.
        """
        if self._failed_ms is None or now.mono_ms - self._failed_ms >= _REMIND_MS:
            self._failed_ms = now.mono_ms
            _LOG.error("readings cannot be written: %s", error)
        is_full = error.errno in _NO_ROOM
        if is_full:
            self._disk_is_full = True
            self._looked_ms = None
        return is_full

    def to_drop(
        self, folder: Path, segments: Sequence[Segment], sealed: Sequence[Segment], now: Instant
    ) -> Iterator[Segment]:
        """Yield the oldest files one by one while there is too little room."""
        if self._looked_ms is not None and now.mono_ms - self._looked_ms < _LOOK_EVERY_MS:
            return
        self._looked_ms = now.mono_ms
        size = sum(segment.size for segment in segments)
        limit = self._most_bytes if self.is_open else self._most_bytes * _ENOUGH
        lacks = max(size - limit, self._keep_free_bytes - free_bytes(folder), 0)
        if self._disk_is_full:
            lacks = max(lacks, 1)
            self._disk_is_full = False
        if not lacks:
            if not self.is_open:
                _LOG.warning("there is room again in %s: readings are taken again", folder)
            self.is_open, self._told_ms = True, None
            return
        self._tell(folder, size, now)
        if not self._drop_oldest:
            self.is_open = False
            return
        for segment in sealed:
            if lacks <= 0:
                return
            lacks -= segment.size
            yield segment

    def _tell(self, folder: Path, size: int, now: Instant) -> None:
        if self._told_ms is not None and now.mono_ms - self._told_ms < _REMIND_MS:
            return
        self._told_ms = now.mono_ms
        done = (
            "the OLDEST readings are dropped"
            if self._drop_oldest
            else "NEW readings are not taken until there is room"
        )
        _LOG.error(
            "there is no more room in %s (%.0f MB wait, %.0f MB are free): %s. Bring the service "
            "back, or change most_mb and keep_free_mb under [spool]",
            *(folder, size / 1e6, free_bytes(folder) / 1e6, done),
        )


def free_bytes(folder: Path) -> int:
    """Return how much room the disk of a folder has."""
    disk = os.statvfs(folder)
    return disk.f_bavail * disk.f_frsize
