"""One group of readings of one unit: a few requests, then values by device."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from joulebook_bridge.batch import Batch, Instant, Shape
from joulebook_bridge.configuration import Unit
from joulebook_bridge.modbus.faults import LineFault, RefusedFault
from joulebook_bridge.modbus.planning import Registers, plan_requests
from joulebook_bridge.register_map import Entry

_Words = dict[tuple[int, int], int]


class Source(Protocol):
    """What gives registers."""

    def read(self, unit: int, function: int, address: int, count: int) -> Sequence[int]:
        """Return registers, or raise a ``LineFault``."""


class StrangerFault(LineFault):
    """What answers is not the equipment that the map was made for."""

    def __init__(self, address: int, expected: Sequence[int], found: Sequence[int]) -> None:
        super().__init__(
            f"it is not the equipment of its map: at address {address} it has {list(found)}, "
            f"expected {list(expected)}. After a change of equipment or firmware, scan it anew"
        )


@dataclass(frozen=True, slots=True)
class GroupReader:
    """Readings that are taken together.

    Attributes
    ----------
    every_ms : int
        The time from one round to the next. [ms]
    """

    unit: int
    every_ms: int
    entries: tuple[Entry, ...]
    requests: tuple[Registers, ...]

    def read(
        self,
        line: Source,
        stamp: Callable[[], Instant],
        refused: Callable[[str, RefusedFault], None],
    ) -> list[Batch]:
        """Return what was measured, by device; all of it is of the moment of the first answer.

        Parameters
        ----------
        refused : callable
            Told which registers the unit says it does not have; the others are read all the same.

        Raises
        ------
        LineFault
            If there is no answer to go on with.
        """
        words: _Words = {}
        at: Instant | None = None
        for request in self.requests:
            try:
                answer = line.read(self.unit, request.function, request.address, request.count)
            except RefusedFault as fault:
                if fault.is_passing:
                    raise
                refused(f"{request.count} registers from address {request.address}", fault)
                continue
            at = at or stamp()
            for place, word in enumerate(answer):
                words[request.function, request.address + place] = word
        return [] if at is None else self._batches(words, at)

    def _batches(self, words: _Words, at: Instant) -> list[Batch]:
        found: dict[str, list[tuple[tuple[str, str], float]]] = {}
        for entry in self.entries:
            value = value_of(entry, words)
            if value is not None:
                column = (entry.quantity, entry.unit)
                found.setdefault(entry.device, []).append((column, value))
        return [
            Batch(
                at,
                Shape(device, tuple(column for column, _ in pairs)),
                tuple(value for _, value in pairs),
            )
            for device, pairs in found.items()
        ]


def value_of(entry: Entry, words: _Words) -> float | None:
    """Return the value of a reading; ``None`` where it is missing, refused or of unknown sign."""

    def at(place: Registers | None) -> list[int]:
        if place is None:
            return []
        keys = [(place.function, place.address + offset) for offset in range(place.count)]
        return [words[key] for key in keys if key in words]

    number, scale, sign = at(entry.registers), at(entry.scale_at), at(entry.sign_at)
    if entry.meaning is None or len(number) < entry.registers.count:
        return None
    if (entry.scale_at and not scale) or (entry.sign_at and not sign):
        return None
    return entry.meaning.value(number, scale[0] if scale else None, sign[0] if sign else None)


def group_readers(unit: Unit) -> list[GroupReader]:
    """Return a reader for each interval of a unit's map."""
    by_interval: dict[int, list[Entry]] = {}
    for entry in unit.map.entries:
        by_interval.setdefault(round(entry.every_s * 1000), []).append(entry)
    readers = []
    for every_ms, entries in sorted(by_interval.items()):
        wanted = [span for entry in entries for span in entry.wanted()]
        requests = plan_requests(wanted, skip=unit.map.skip)
        readers.append(GroupReader(unit.number, every_ms, tuple(entries), tuple(requests)))
    return readers
