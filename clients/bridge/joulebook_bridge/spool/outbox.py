"""What is sent next: what was measured just now, then the newest of what waits on disk."""

import logging
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from joulebook_bridge.batch import Batch, Shape
from joulebook_bridge.spool.segments import ASIDE, HELD, Segment

_LOG = logging.getLogger(__name__)

#: A pack is at most 256 kB (docs/wire-format.md); a record takes 60 to 90 bytes.
_MOST_READINGS = 1500
_MOST_LIVE = 1000  # batches; older ones are on disk and are found there again


@dataclass(frozen=True, slots=True)
class Parcel:
    """Batches of one shape that travel in one message.

    Attributes
    ----------
    rows : sequence of (int, tuple of float)
        Instant [ms, UTC epoch] and values.
    """

    segment: Segment
    numbers: tuple[int, ...]
    shape: Shape
    rows: tuple[tuple[int, tuple[float, ...]], ...]
    live: bool


class Outbox:
    """Chooses parcels, and remembers which are on their way. Its owner holds the lock."""

    def __init__(self, segments: Callable[[], Iterable[Segment]]) -> None:
        self._segments = segments  # oldest first
        self._live: deque[Parcel] = deque()
        self._prepared: deque[Parcel] = deque()

    def put(self, segment: Segment, number: int, batch: Batch) -> None:
        """Offer a batch that was just written, ahead of all that waits."""
        row = (batch.at.wall_ms + segment.shift_ms, batch.values)
        segment.busy.add(number)
        self._live.append(Parcel(segment, (number,), batch.shape, (row,), live=True))
        if len(self._live) > _MOST_LIVE:
            self.give_back(self._live.popleft())

    def next_live(self) -> Parcel | None:
        """Return what was measured just now."""
        return self._live.popleft() if self._live else None

    def next_waiting(self) -> Parcel | None:
        """Return the newest of what waits on disk."""
        while not self._prepared:
            segment = self._newest_waiting()
            if segment is None:
                return None
            self._prepare(segment)
        return self._prepared.pop()

    def give_back(self, parcel: Parcel) -> None:
        """Let a parcel wait on disk again: it was not acknowledged."""
        parcel.segment.busy.difference_update(parcel.numbers)

    def acknowledge(self, parcel: Parcel) -> None:
        """Note that the service has a parcel."""
        parcel.segment.busy.difference_update(parcel.numbers)
        parcel.segment.acknowledged.update(parcel.numbers)

    def clear(self) -> None:
        """Let all that was not handed out wait on disk."""
        for parcels in (self._live, self._prepared):
            while parcels:
                self.give_back(parcels.pop())

    def forget(self, segment: Segment) -> None:
        """Drop what was not handed out of a segment that is no more."""
        for name in ("_live", "_prepared"):
            kept = [parcel for parcel in getattr(self, name) if parcel.segment is not segment]
            setattr(self, name, deque(kept))

    def _newest_waiting(self) -> Segment | None:
        waiting = [
            segment
            for segment in self._segments()
            if segment.state not in (HELD, ASIDE) and segment.waiting > 0
        ]
        return waiting[-1] if waiting else None

    def _prepare(self, segment: Segment) -> None:
        """Read a file and make parcels of all in it that is not on its way."""
        try:
            batches = segment.read().batches[: segment.batches]
        except OSError as error:
            _LOG.error("%s cannot be read and is left where it is: %s", segment.path, error)
            segment.state = ASIDE
            return
        if len(batches) < segment.batches:
            # The disk lost records since they were counted: what is gone waits no longer.
            lost = segment.batches - len(batches)
            _LOG.error("%s is damaged: %d of its batches are lost", segment.path, lost)
            segment.acknowledged.update(range(len(batches), segment.batches))
        taken = segment.busy | segment.acknowledged
        by_shape: dict[Shape, list[tuple[int, Batch]]] = {}
        for number, batch in enumerate(batches):
            if number not in taken:
                by_shape.setdefault(batch.shape, []).append((number, batch))
        parcels = [
            parcel
            for shape, numbered in by_shape.items()
            for parcel in _parcels(segment, shape, numbered)
        ]
        parcels.sort(key=lambda parcel: parcel.numbers[-1])
        for parcel in parcels:
            segment.busy.update(parcel.numbers)
        self._prepared.extend(parcels)


def _parcels(segment: Segment, shape: Shape, numbered: Sequence[tuple[int, Batch]]) -> list[Parcel]:
    most = max(1, _MOST_READINGS // max(1, len(shape.columns)))
    made = []
    for first in range(0, len(numbered), most):
        part = numbered[first : first + most]
        rows = tuple((batch.at.wall_ms + segment.shift_ms, batch.values) for _, batch in part)
        numbers = tuple(number for number, _ in part)
        made.append(Parcel(segment, numbers, shape, rows, live=False))
    return made
