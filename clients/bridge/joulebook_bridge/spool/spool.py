"""The spool: every reading is in a file before it is sent, and stays until the service has it."""

import fcntl
import logging
import os
import threading
from pathlib import Path

from joulebook_bridge.batch import Batch, Instant
from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.spool.outbox import Outbox, Parcel
from joulebook_bridge.spool.records import Header
from joulebook_bridge.spool.room import Room
from joulebook_bridge.spool.segments import ASIDE, HELD, OPEN, READY, Segment, Writer, find_segments
from joulebook_bridge.spool.times import correct, is_step

_LOG = logging.getLogger(__name__)
_LARGEST = 250_000  # bytes of a file; reading one back holds up appending for some 20 ms
_ROLL_AFTER_MS = 60_000  # a file that the service has all of is replaced, so that it can go


class Spool:
    """Takes batches from any thread, and hands out parcels to one.

    Parameters
    ----------
    folder : Path
        Made when it is missing. One bridge at a time.
    boot : str
        This start of the machine.
    room : Room
        How much there may be, and what happens when there is more.
    sync_s : float
        How long what the service does not have yet may be unsafe against a power cut.
    """

    def __init__(self, folder: Path, boot: str, room: Room, *, sync_s: float) -> None:
        self._folder = folder
        self._boot = boot
        self._room = room
        self._sync_ms = round(sync_s * 1000)
        self._lock = threading.Lock()
        self._lock_file = _lock_folder(folder)
        self._segments = find_segments(folder)  # oldest first
        for segment in self._segments:
            if segment.state == OPEN:
                header = segment.header
                segment.become(READY if header is not None and header.clock_is_set else HELD)
        self._writer: Writer | None = None
        self._outbox = Outbox(lambda: self._segments)
        self._clock_is_set = False
        self._unsynced_since_ms: int | None = None
        self._folder_synced = False
        self.lost = 0  # readings that there was no room for
        self.steps_ms: list[int] = []  # of the wall's clock, since somebody last asked

    @property
    def clock_is_set(self) -> bool:
        """Whether readings are sent: before, nobody knows when they were taken."""
        return self._clock_is_set

    def append(self, batch: Batch) -> None:
        """Write a batch to disk. From then on it survives ``kill -9``, and soon a power cut."""
        with self._lock:
            if not self._room.is_open:
                self.lost += len(batch.values)
                return
            number = self._write_or_make_room(batch)
            if number is None:
                self.lost += len(batch.values)
            elif self._clock_is_set and self._writer is not None:
                self._outbox.put(self._writer.segment, number, batch)

    def tick(self, now: Instant) -> None:
        """Do what time asks for: once a second or so."""
        with self._lock:
            self._sweep(now)
            self._make_room(now)
            handle = self._to_sync(now)
        if handle is not None:
            # Outside of the lock: a slow card must not hold up those who measure.
            try:
                os.fsync(handle)
                self._sync_folder()
            finally:
                os.close(handle)

    def set_clock(self, now: Instant, latest_ms: int) -> None:
        """Take the clock as right from now on: correct what was measured before, and send.

        Parameters
        ----------
        latest_ms : int
            The latest time that is known to have been right. [ms, UTC epoch]
        """
        with self._lock:
            self._close()
            held = [segment for segment in self._segments if segment.state == HELD]
            for segment in held:
                step_ms = correct(segment, self._boot, now, latest_ms)
                if step_ms:
                    self.steps_ms.append(step_ms)
            self._clock_is_set = True

    def next(self, *, live_only: bool) -> Parcel | None:
        """Return what to send next. It is busy until it is acknowledged or given back."""
        with self._lock:
            if not self._clock_is_set:
                return None
            parcel = self._outbox.next_live()
            return parcel if parcel or live_only else self._outbox.next_waiting()

    def acknowledge(self, parcel: Parcel) -> None:
        """Note that the service has it; a file that it has all of is removed."""
        with self._lock:
            self._outbox.acknowledge(parcel)
            self._remove_if_delivered(parcel.segment)

    def give_back(self, parcels: list[Parcel]) -> None:
        """Note that parcels were not acknowledged, and let everything wait on disk."""
        with self._lock:
            for parcel in parcels:
                self._outbox.give_back(parcel)
            self._outbox.clear()

    def waiting_readings(self) -> int:
        """Return about how many readings the service does not have yet."""
        with self._lock:
            return sum(
                segment.undelivered_readings for segment in self._segments if segment.state != ASIDE
            )

    def aside_readings(self) -> int:
        """Return how many readings are kept of times that nobody knows."""
        with self._lock:
            return sum(segment.readings for segment in self._segments if segment.state == ASIDE)

    def close(self) -> None:
        """Make everything safe and let go of the folder."""
        with self._lock:
            self._close()
            for segment in list(self._segments):
                self._remove_if_delivered(segment)
        self._sync_folder()
        os.close(self._lock_file)

    def _write_or_make_room(self, batch: Batch) -> int | None:
        try:
            return self._write(batch)
        except OSError as error:
            if not self._room.found_fault(error, batch.at):
                return None
        self._make_room(batch.at)
        try:
            return self._write(batch)
        except OSError:
            return None

    def _write(self, batch: Batch) -> int:
        writer = self._writer
        if writer is not None and (
            writer.segment.size >= _LARGEST or self._notice_step(writer, batch.at)
        ):
            self._close()
        if self._writer is None:
            number = self._segments[-1].number + 1 if self._segments else 1
            self._writer = Writer(
                self._folder, number, Header(self._boot, batch.at, self._clock_is_set)
            )
            self._segments.append(self._writer.segment)
            self._folder_synced = False
        writer = self._writer
        number = writer.append(batch)
        writer.last_offset_ms = batch.at.offset_ms
        if self._unsynced_since_ms is None:
            self._unsynced_since_ms = batch.at.mono_ms
        return number

    def _notice_step(self, writer: Writer, at: Instant) -> bool:
        step_ms = at.offset_ms - writer.last_offset_ms
        if not is_step(step_ms):
            return False
        _LOG.warning("the clock was set by %+.1f s", step_ms / 1000)
        if self._clock_is_set:
            self.steps_ms.append(step_ms)
        return True

    def _close(self) -> None:
        """End the open file; what is in it waits for the clock, or may be sent already."""
        if self._writer is None:
            return
        writer, self._writer = self._writer, None
        if self._unsynced_since_ms is not None and not writer.segment.is_delivered:
            writer.sync()
        writer.close()
        self._unsynced_since_ms = None
        writer.segment.become(READY if self._clock_is_set else HELD)

    def _sweep(self, now: Instant) -> None:
        for segment in list(self._segments):
            self._remove_if_delivered(segment)
        writer = self._writer
        if writer is None or writer.segment.header is None or not writer.segment.is_delivered:
            return
        if now.mono_ms - writer.segment.header.at.mono_ms >= _ROLL_AFTER_MS:
            self._close()
            self._remove_if_delivered(writer.segment)

    def _remove_if_delivered(self, segment: Segment) -> None:
        if segment.state == READY and segment.is_delivered and segment in self._segments:
            self._segments.remove(segment)
            segment.path.unlink(missing_ok=True)

    def _make_room(self, now: Instant) -> None:
        sealed = [segment for segment in self._segments if segment.state != OPEN]
        for segment in self._room.to_drop(self._folder, self._segments, sealed, now):
            self.lost += segment.undelivered_readings
            self._segments.remove(segment)
            self._outbox.forget(segment)
            segment.path.unlink(missing_ok=True)

    def _to_sync(self, now: Instant) -> int | None:
        """Return a handle of what has to be made safe now; what the service has is safe."""
        since_ms, writer = self._unsynced_since_ms, self._writer
        if since_ms is None or writer is None or now.mono_ms - since_ms < self._sync_ms:
            return None
        self._unsynced_since_ms = None
        return None if writer.segment.is_delivered else writer.handle()

    def _sync_folder(self) -> None:
        if not self._folder_synced:
            handle = os.open(self._folder, os.O_RDONLY)
            os.fsync(handle)
            os.close(handle)
            self._folder_synced = True


def _lock_folder(folder: Path) -> int:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise WrongError(
            f"the spool cannot be used: {error.strerror}",
            where=str(folder),
            expected="a folder that the bridge may write to, or room to make one",
            next_step="change 'folder' under [spool], or the rights of that folder",
        ) from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        raise AwayError(
            "another bridge uses this spool",
            where=str(folder),
            expected="one bridge for each spool",
            next_step="stop the other one, or give this one a folder of its own",
        ) from error
    return handle
