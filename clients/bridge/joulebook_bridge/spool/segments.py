"""The files of the spool. A file is what is removed at once, and its name says all about it.

====================================  ============================================================
``0000000012.open``                   being written
``0000000012.b180.r1800.held``        180 batches with 1800 readings, of a clock that nobody had set
``0000000012.b180.r1800.s+0.ready``   may be sent; ``s`` is what is added to its times [ms]
``0000000012.b180.r1800.aside``       of times that nobody can know any more: kept, not sent
====================================  ============================================================
"""

import os
import re
from dataclasses import dataclass, field
from pathlib import Path

from joulebook_bridge.batch import Batch
from joulebook_bridge.spool.records import Content, Encoder, Header, decode

_NAME = re.compile(
    r"(?P<number>\d{10})"
    r"(?:\.open|\.b(?P<batches>\d+)\.r(?P<readings>\d+)"
    r"(?:\.(?P<held>held)|\.(?P<aside>aside)|\.s(?P<shift>[+-]\d+)\.ready))"
)
OPEN, HELD, READY, ASIDE = "open", "held", "ready", "aside"


@dataclass(slots=True, eq=False)
class Segment:
    """One file.

    Attributes
    ----------
    busy, acknowledged : set of int
        The numbers of batches that are on their way, and that the service has.
    """

    number: int
    path: Path
    state: str
    batches: int = 0
    readings: int = 0
    size: int = 0
    shift_ms: int = 0
    header: Header | None = None
    busy: set[int] = field(default_factory=set)
    acknowledged: set[int] = field(default_factory=set)

    @property
    def waiting(self) -> int:
        """How many batches are neither delivered nor on their way."""
        return self.batches - len(self.busy) - len(self.acknowledged)

    @property
    def is_delivered(self) -> bool:
        """Whether the service has all of it."""
        return len(self.acknowledged) >= self.batches

    @property
    def undelivered_readings(self) -> int:
        """About how many readings the service does not have yet."""
        if not self.batches:
            return 0
        return self.readings * (self.batches - len(self.acknowledged)) // self.batches

    def read(self) -> Content:
        """Return what is in the file."""
        content = decode(self.path.read_bytes())
        self.header = self.header or content.header
        return content

    def become(self, state: str, shift_ms: int = 0) -> None:
        """Give the file the name of another state; the name changes at once or not at all."""
        counts = f"{self.number:010d}.b{self.batches}.r{self.readings}"
        end = f"s{shift_ms:+d}.ready" if state == READY else state
        target = self.path.with_name(f"{counts}.{end}")
        self.path.rename(target)
        self.path, self.state, self.shift_ms = target, state, shift_ms


def find_segments(folder: Path) -> list[Segment]:
    """Return the files of a folder in order; those left open by a power cut are looked through."""
    found = []
    for path in folder.iterdir():
        name = _NAME.fullmatch(path.name)
        if name is None:
            continue
        segment = Segment(int(name["number"]), path, OPEN, size=path.stat().st_size)
        if name["batches"]:
            segment.batches, segment.readings = int(name["batches"]), int(name["readings"])
            segment.state = name["held"] or name["aside"] or READY
            segment.shift_ms = int(name["shift"] or 0)
        else:
            content = segment.read()
            segment.batches, segment.readings = len(content.batches), content.readings
        found.append(segment)
    return sorted(found, key=lambda segment: segment.number)


class Writer:
    """Appends to a new file. What it returns from is in the file, and survives ``kill -9``.

    Attributes
    ----------
    last_offset_ms : int
        How the two clocks stood at the last batch.
    """

    def __init__(self, folder: Path, number: int, header: Header) -> None:
        self.segment = Segment(number, folder / f"{number:010d}.open", OPEN, header=header)
        self.last_offset_ms = header.at.offset_ms
        self._encoder = Encoder()
        self._file = os.open(self.segment.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            self._write(self._encoder.begin(header))
        except OSError:
            self.close()
            self.segment.path.unlink()
            raise

    def append(self, batch: Batch) -> int:
        """Write a batch and return its number in the file.

        Raises
        ------
        OSError
            If there is no room; the file is then as it was.
        """
        known = self._encoder.knows(batch.shape)
        try:
            self._write(self._encoder.batch(batch))
        except OSError:
            if not known:
                self._encoder.forget(batch.shape)
            raise
        segment = self.segment
        segment.batches += 1
        segment.readings += len(batch.values)
        return segment.batches - 1

    def _write(self, data: bytes) -> None:
        written = 0
        try:
            while written < len(data):
                written += os.write(self._file, data[written:])
        except OSError:
            # A torn record in the middle would only cost itself; better that there is none.
            os.ftruncate(self._file, self.segment.size)
            os.lseek(self._file, self.segment.size, os.SEEK_SET)
            raise
        self.segment.size += written

    def handle(self) -> int:
        """Return a second handle of the file, to be closed by who asked."""
        return os.dup(self._file)

    def sync(self) -> None:
        """Make what is in the file safe against a power cut."""
        os.fsync(self._file)

    def close(self) -> None:
        """Close the file; it stays as it is."""
        os.close(self._file)
