"""The rounds of one line: each group of readings at its own interval, each unit by itself.

One thread a line. What is slow or silent costs others of the same line a bounded share of it, and
other lines nothing.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from joulebook_bridge.batch import Batch, Instant
from joulebook_bridge.clock import Clock
from joulebook_bridge.configuration import LinePlan, Unit
from joulebook_bridge.modbus.backoff import Backoff
from joulebook_bridge.modbus.faults import LineFault, RefusedFault, UnreachableFault
from joulebook_bridge.modbus.reading import GroupReader, StrangerFault, group_readers

_LOG = logging.getLogger(__name__)
_EXPECT_EVERY_MS = 3_600_000
_GRID_SLACK_MS = 100
_LONGEST_AWAY_S = 30.0  # a refused connection costs little, so it is tried more often
_REMIND_MS = 3_600_000


class ReadableLine(Protocol):
    """What a poller needs of a line."""

    def read(self, unit: int, function: int, address: int, count: int) -> Sequence[int]:
        """Return registers, or raise a ``LineFault``."""

    def close(self) -> None:
        """Let go of it."""


@dataclass(slots=True)
class _Turn:
    """A group of a unit, and when it is next read."""

    reader: GroupReader
    due_ms: int = 0  # on the machine's clock
    grid_ms: int = 0  # the same moment on the wall's


@dataclass(slots=True)
class _Patience:
    """How it goes with one unit."""

    unit: Unit
    turns: list[_Turn]
    backoff: Backoff = field(default_factory=Backoff)
    rests_until_ms: int = 0
    expected_at_ms: int | None = None  # when its expectations were last met
    silent_since_ms: int | None = None
    reminded_ms: int = 0
    refused: set[str] = field(default_factory=set)


class Poller:
    """Reads what is on one line, round after round.

    Parameters
    ----------
    plan : LinePlan
        The line and its units.
    line : ReadableLine
        The line itself, for this poller alone.
    clock : Clock
        Where the time comes from.
    take : callable
        What is done with each batch.
    """

    def __init__(
        self, plan: LinePlan, line: ReadableLine, clock: Clock, take: Callable[[Batch], None]
    ) -> None:
        self._name = str(plan.address)
        self._line = line
        self._clock = clock
        self._take = take
        self._away = Backoff(longest_s=_LONGEST_AWAY_S)
        self._units = [
            _Patience(unit, [_Turn(it) for it in group_readers(unit)]) for unit in plan.units
        ]
        for patience in self._units:
            for turn in patience.turns:
                self._schedule(patience, turn)

    @property
    def silent_units(self) -> int:
        """How many units do not answer at present."""
        return sum(patience.silent_since_ms is not None for patience in self._units)

    def run(self, stop: threading.Event) -> None:
        """Read until told to stop."""
        try:
            while not stop.wait(self.wait_s()):
                self.poll()
        finally:
            self._line.close()

    def wait_s(self) -> float:
        """Return how long there is nothing to read. [s]"""
        _, turn = self._next()
        return max(0, turn.due_ms - self._clock.mono_ms()) / 1000

    def poll(self) -> None:
        """Read the group that is due first."""
        patience, turn = self._next()
        began = self._clock.now()
        try:
            self._expect(patience, began)
            batches = turn.reader.read(self._line, self._stamp(turn), self._note_refusal(patience))
        except UnreachableFault as fault:
            self._line_is_away(fault)
        except LineFault as fault:  # a stranger too
            self._unit_failed(patience, fault)
        else:
            self._unit_answered(patience)
            for batch in batches:
                self._take(batch)
        # A unit that takes long leaves the line to the others for as long as they may need.
        took_ms = self._clock.mono_ms() - began.mono_ms
        rest_ms = self._clock.mono_ms() + took_ms * (len(self._units) - 1)
        patience.rests_until_ms = max(patience.rests_until_ms, rest_ms)
        for each in patience.turns:
            self._schedule(patience, each, after=each is turn)

    def _next(self) -> tuple[_Patience, _Turn]:
        turns = [(each, turn) for each in self._units for turn in each.turns]
        return min(turns, key=lambda pair: pair[1].due_ms)

    def _schedule(self, patience: _Patience, turn: _Turn, *, after: bool = True) -> None:
        """Set a turn to the next whole multiple of its interval on the wall's clock.

        Whole multiples let readings of all devices fall on the same instants, which the service
        keeps in less room.
        """
        now = self._clock.now()
        from_ms = max(now.mono_ms, patience.rests_until_ms)
        if not after and turn.due_ms >= from_ms:
            return
        wall_ms = from_ms + now.offset_ms
        every_ms = turn.reader.every_ms
        next_ms = -(-wall_ms // every_ms) * every_ms
        # Never twice for one instant, also where the clock has just been set.
        is_past = next_ms == turn.grid_ms or (after and next_ms == now.wall_ms)
        turn.grid_ms = next_ms + every_ms if is_past else next_ms
        turn.due_ms = turn.grid_ms - now.offset_ms

    def _stamp(self, turn: _Turn) -> Callable[[], Instant]:
        """Return what dates the answer: on the grid where it is within a tenth of a second."""

        def stamp() -> Instant:
            now = self._clock.now()
            late_ms = now.wall_ms - turn.grid_ms
            if 0 <= late_ms <= min(_GRID_SLACK_MS, turn.reader.every_ms // 10):
                return Instant(turn.grid_ms, now.mono_ms - late_ms)
            return now

        return stamp

    def _expect(self, patience: _Patience, now: Instant) -> None:
        """See that the unit is still the equipment that its map was made for."""
        met_ms = patience.expected_at_ms
        if met_ms is not None and now.mono_ms - met_ms < _EXPECT_EVERY_MS:
            return
        unit = patience.unit
        for expectation in unit.map.expectations:
            at = expectation.registers
            found = tuple(self._line.read(unit.number, at.function, at.address, at.count))
            if found != expectation.words:
                raise StrangerFault(at.address, expectation.words, found)
        patience.expected_at_ms = now.mono_ms

    def _note_refusal(self, patience: _Patience) -> Callable[[str, RefusedFault], None]:
        def note(what: str, fault: RefusedFault) -> None:
            if what not in patience.refused:
                patience.refused.add(what)
                _LOG.warning(
                    "unit %d of %s does not give %s: %s. The rest is read. Check its register map",
                    *(patience.unit.number, self._name, what, fault),
                )

        return note

    def _line_is_away(self, fault: UnreachableFault) -> None:
        wait_s = self._away.failed()
        until_ms = self._clock.mono_ms() + int(wait_s * 1000)
        for patience in self._units:
            patience.rests_until_ms = until_ms
            self._complain(patience, fault)
            for turn in patience.turns:
                self._schedule(patience, turn)

    def _unit_failed(self, patience: _Patience, fault: LineFault) -> None:
        self._away.succeeded()
        wait_ms = int(patience.backoff.failed() * 1000)
        patience.rests_until_ms = self._clock.mono_ms() + wait_ms
        self._complain(patience, fault)

    def _complain(self, patience: _Patience, fault: LineFault) -> None:
        now_ms = self._clock.mono_ms()
        patience.expected_at_ms = None  # who answers next may be somebody else
        if patience.silent_since_ms is None:
            patience.silent_since_ms = now_ms
        elif now_ms - patience.reminded_ms < _REMIND_MS:
            return
        patience.reminded_ms = now_ms
        _LOG.warning(
            "unit %d of %s is not read: %s. Tried again, less and less often",
            *(patience.unit.number, self._name, fault),
        )

    def _unit_answered(self, patience: _Patience) -> None:
        self._away.succeeded()
        patience.backoff.succeeded()
        if patience.silent_since_ms is not None:
            away_s = (self._clock.mono_ms() - patience.silent_since_ms) / 1000
            patience.silent_since_ms = None
            _LOG.warning(
                "unit %d of %s is read again after %.0f s",
                *(patience.unit.number, self._name, away_s),
            )
