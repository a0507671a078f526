"""What a year brought and would have brought, with intervals. Method `planning-1`."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.bill import METER_HALF
from joulebook.core.money.quarter_energy import inner
from joulebook.core.planning.dispatch import Course, Floats, Storage
from joulebook.core.planning.measured import MeasuredTime

METHOD = "planning-1"

#: A simulation that tells the present well errs on a change all the same, by a share of it. The
#: demonstration's plant, made larger, errs by up to a seventh; see ``docs/methods/planning.md``.
MODEL_RATIO = 0.15
#: Quarter hours of 365 days.
QUARTERS_A_YEAR = 35_040
#: So near to its end the battery is full, or empty.
_END_RATIO = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a year brought, or would have; energies [Wh], ``paid`` without fixed fees [currency].

    ``full_h`` and ``empty_h`` are how long the battery was at its ends, ``cycles`` how often its
    usable energy went out in 365 days.
    """

    import_wh: Estimate
    export_wh: Estimate
    paid: Estimate
    full_h: Estimate
    empty_h: Estimate
    cycles: Estimate


class Teller:
    """Puts numbers of a plan together.

    Half of each interval is by how much the simulation of what is there misses the same number,
    a share of what the change moves it by, and how far the ends of the round trip move it.
    """

    def __init__(
        self,
        time: MeasuredTime,
        coverage: float,
        base: Course,
        course: Course,
        doubt: Sequence[Course],
    ) -> None:
        self._time, self._coverage = time, min(coverage, 1.0)
        self._base, self._course = base, course
        self._was = _Sums.of(time, time.import_wh, time.export_wh)
        self._before, self._after = (
            _Sums.of(time, each.import_wh, each.export_wh) for each in (base, course)
        )
        ends = [_Sums.of(time, each.import_wh, each.export_wh) for each in doubt]
        moved = self._after.moved_from(self._before)
        self._half = tuple(
            abs(before - was)
            + MODEL_RATIO * by
            + max((abs(end - after) for end in each), default=0.0)
            for was, before, after, by, *each in zip(
                *(sums.three() for sums in (self._was, self._before, self._after)),
                moved,
                *(sums.three() for sums in ends),
                strict=True,
            )
        )

    @property
    def missed_wh(self) -> tuple[float, float]:
        """By how much the simulation of what is there misses energies bought and sold. [Wh]"""
        was, before = self._was, self._before
        return abs(before.import_wh - was.import_wh), abs(before.export_wh - was.export_wh)

    def measured(self, storage: Storage | None) -> Outcome:
        """Return what was measured; how the battery went is that of its simulation."""
        was = self._was
        sizes = (was.import_wh, was.export_wh, abs(was.cost) + abs(was.income))
        halves = tuple(METER_HALF * each for each in sizes)
        return self._outcome(was.three(), halves, self._ends(storage, self._base, 0.0))

    def changed(self, storage: Storage | None) -> Outcome:
        """Return what would have been: what was measured, and what the simulations differ by."""
        bought, sold, paid = (
            was + more for was, more in zip(self._was.three(), self._more(), strict=True)
        )
        would = (max(bought, 0.0), max(sold, 0.0), paid)
        told = self._outcome(would, self._half, self._ends(storage, self._course, MODEL_RATIO))
        # Nobody buys or sells less than nothing.
        energies = {
            name: replace(each, low=max(each.low or 0.0, 0.0))
            for name, each in (("import_wh", told.import_wh), ("export_wh", told.export_wh))
        }
        return replace(told, **energies)

    def difference(self) -> Outcome:
        """Return what the change does."""
        nothing = refused("it is told for either alone", method=METHOD)
        ends = dict.fromkeys(("full_h", "empty_h", "cycles"), nothing)
        return self._outcome(self._more(), self._half, ends)

    def _more(self) -> tuple[float, ...]:
        pairs = zip(self._after.three(), self._before.three(), strict=True)
        return tuple(after - before for after, before in pairs)

    def _outcome(
        self, values: tuple[float, ...], halves: tuple[float, ...], ends: dict[str, Estimate]
    ) -> Outcome:
        bought, sold, paid = (
            self._within(value, half) for value, half in zip(values, halves, strict=True)
        )
        if not self._time.is_priced:
            paid = refused("no tariff holds in all of this time", method=METHOD)
        return Outcome(import_wh=bought, export_wh=sold, paid=paid, **ends)

    def _ends(self, storage: Storage | None, course: Course, model: float) -> dict[str, Estimate]:
        if storage is None or storage.usable_wh <= 0:
            nothing = refused("there is no battery", method=METHOD)
            return {"full_h": nothing, "empty_h": nothing, "cycles": nothing}
        stored, most = course.stored_wh, storage.usable_wh
        hours = self._time.hours
        known = stored[~np.isnan(stored)]
        full, empty = (
            float(np.count_nonzero(each)) / 4
            for each in (known >= (1 - _END_RATIO) * most, known <= _END_RATIO * most)
        )
        out_wh = float(np.nansum(course.discharge_wh))
        cycles = out_wh / most * QUARTERS_A_YEAR / (4 * hours)
        off = model + max(self.missed_wh) / max(out_wh, 1.0)
        return {
            "full_h": self._within(full, off * full),
            "empty_h": self._within(empty, off * empty),
            "cycles": self._within(cycles, off * cycles),
        }

    def _within(self, value: float, half: float) -> Estimate:
        return Estimate(
            value=value,
            low=value - half,
            high=value + half,
            coverage_ratio=self._coverage,
            method=METHOD,
        )


@dataclass(frozen=True, slots=True)
class _Sums:
    """What a course comes to where all was measured: bought, sold, and what for. [Wh, currency]"""

    import_wh: float
    export_wh: float
    cost: float
    income: float

    @classmethod
    def of(cls, time: MeasuredTime, import_wh: Floats, export_wh: Floats) -> "_Sums":
        known = time.known
        dear, cheap = (
            np.nan_to_num(each[known]) / 1000 for each in (time.import_price, time.export_price)
        )
        bought, sold = import_wh[known], export_wh[known]
        return cls(float(bought.sum()), float(sold.sum()), inner(bought, dear), inner(sold, cheap))

    def three(self) -> tuple[float, float, float]:
        """Return bought, sold, and what was paid."""
        return self.import_wh, self.export_wh, self.cost - self.income

    def moved_from(self, other: "_Sums") -> tuple[float, float, float]:
        """Return how far each of the three lies from another's, costs and income apart."""
        return (
            abs(self.import_wh - other.import_wh),
            abs(self.export_wh - other.export_wh),
            abs(self.cost - other.cost) + abs(self.income - other.income),
        )
