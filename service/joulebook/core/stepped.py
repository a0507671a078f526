"""Readings of one series as whole steps on a regular clock: little to unpack, quick to add up.

What a device sends is a whole number of steps of its display, on a clock that ticks evenly but
for its gaps. Sums over years need neither an instant nor a float for each reading.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any, Self

import numpy as np
from numpy.typing import DTypeLike, NDArray

Instants = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Row *r* is at ``first_ms + r · step_ms`` plus the jumps of all breaks at or before it.

    Attributes
    ----------
    first_ms, step_ms, rows : int
        The first instant [ms, UTC epoch], the usual step, above zero [ms], and how many rows
        there are, one at least.
    breaks : int64 array, shape (b,)
        Rows, increasing, from 1 on, that do not come a step after the one before.
    jumps_ms : int64 array, shape (b,)
        How much later they come than that; below zero if sooner. [ms]
    """

    first_ms: int
    step_ms: int
    rows: int
    breaks: NDArray[np.int64]
    jumps_ms: NDArray[np.int64]

    @classmethod
    def of(cls, at_ms: Instants) -> Self:
        """Return the clock of any instants that strictly increase, one at least.

        Where no step is usual, nearly every row is a break: right, but nothing is gained.
        """
        steps = at_ms[1:] - at_ms[:-1]
        step_ms = int(steps[len(steps) // 2]) if len(steps) else 1
        before = np.flatnonzero(steps != step_ms)
        return cls(int(at_ms[0]), step_ms, len(at_ms), before + 1, steps[before] - step_ms)

    @property
    def last_ms(self) -> int:
        """The last instant. [ms, UTC epoch]"""
        return self.first_ms + (self.rows - 1) * self.step_ms + int(self.jumps_ms.sum())

    def at_ms(self) -> Instants:
        """Return all instants, shape (rows,). [ms, UTC epoch]"""
        steps = np.full(self.rows, self.step_ms, dtype=np.int64)
        steps[self.breaks] += self.jumps_ms
        steps[0] = self.first_ms
        return steps.cumsum(out=steps)

    def rows_before(self, at_ms: Instants) -> NDArray[np.int64]:
        """Return how many rows lie before each of some instants."""
        late_ms = np.concatenate(((0,), self.jumps_ms.cumsum()))
        starts_ms = self.first_ms + self.breaks * self.step_ms + late_ms[1:]
        run = starts_ms.searchsorted(at_ms)
        rows = -((self.first_ms + late_ms[run] - at_ms) // self.step_ms)
        ends = np.append(self.breaks, self.rows)[run]
        clipped: NDArray[np.int64] = rows.clip(0, ends)
        return clipped


@dataclass(frozen=True, slots=True, eq=False)
class Stepped:
    """Readings of one series, none missing: row *r* is ``whole[r] · step / divisor``.

    Attributes
    ----------
    clock : Clock
        When.
    whole : int16, int32, int64 or float64 array, shape (clock.rows,)
        Floats where the readings are no whole steps; then step and divisor are 1.
    step, divisor : float
        What one is worth; whole numbers both, the divisor a power of ten.
    """

    clock: Clock
    whole: NDArray[Any]
    step: float = 1.0
    divisor: float = 1.0

    @classmethod
    def of(cls, at_ms: Instants, values: NDArray[np.float64]) -> Self:
        """Return any readings, one at least; their instants strictly increase."""
        return cls(Clock.of(at_ms), values)

    def joins(self, other: "Stepped") -> bool:
        """Whether the other one has the same steps, of the clock and of the readings."""
        return (self.clock.step_ms, self.step, self.divisor, self.whole.dtype) == (
            other.clock.step_ms,
            other.step,
            other.divisor,
            other.whole.dtype,
        )


def in_one(
    parts: Sequence[Stepped], room: Callable[[str, DTypeLike, int], NDArray[Any]]
) -> Stepped:
    """Lay readings that follow one another in time, one part at least, one behind the other.

    Each must join the first (:meth:`Stepped.joins`). Where one begins the clock breaks.
    """
    first = parts[0]
    clocks = [part.clock for part in parts]
    starts = list(accumulate((clock.rows for clock in clocks), initial=0))
    breaks, jumps_ms = [clocks[0].breaks], [clocks[0].jumps_ms]
    for (before, after), start in zip(pairwise(clocks), starts[1:-1], strict=True):
        breaks += [np.array([start]), after.breaks + start]
        jumps_ms += [np.array([after.first_ms - before.last_ms - after.step_ms]), after.jumps_ms]
    clock = Clock(
        first.clock.first_ms,
        first.clock.step_ms,
        starts[-1],
        np.concatenate(breaks),
        np.concatenate(jumps_ms),
    )
    whole = room("whole", first.whole.dtype, starts[-1])
    np.concatenate([part.whole for part in parts], out=whole)
    return Stepped(clock, whole, first.step, first.divisor)
