"""Energy and charge through the battery from the end of one full charge to the start of the next.

Both ends of such a segment are the same state, so what went in and did not come out was lost:
no state of charge is needed. What the current sensor reads when nothing flows is taken off first.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.balances import FullToFull
from joulebook.core.held import Held, amounts, held
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.spans import Span

#: Below this a current is the sensor's noise around zero, and counts as none (our choice). [A]
STILL_A = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorOffset:
    """What the current sensor reads when nothing flows, as a line through knots.

    Attributes
    ----------
    at_ms : int64 (k,)
        Of the knots, increasing; constant before the first and after the last. [ms, UTC epoch]
    offset_a, u_a : float64 (k,)
        The reading at rest, positive as if charging, and its standard uncertainty. The error is
        taken to be one and the same throughout a window: it does not shrink with time. [A]
    """

    at_ms: Instants
    offset_a: Floats
    u_a: Floats

    def at(self, at_ms: Instants) -> Floats:
        """Return the offset at instants. [A]"""
        line: Floats = np.interp(at_ms, self.at_ms, self.offset_a)
        return line

    def u_over(self, span: Span) -> float:
        """Return the largest standard uncertainty within a span. [A]"""
        inside = self.u_a[(self.at_ms >= span.start_ms) & (self.at_ms <= span.end_ms)]
        ends = np.interp([span.start_ms, span.end_ms], self.at_ms, self.u_a)
        return float(max(inside.max(initial=0.0), ends.max()))


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentSums:
    """What went through in each full-to-full segment, offset removed; arrays of equal length.

    Attributes
    ----------
    from_ms, to_ms : int64 (n,)
        End of one full charge, start of the next. [ms, UTC epoch]
    from_c, to_c : float64 (n,)
        Temperature at either end, NaN where missing. [°C]
    charge_wh, discharge_wh, charge_ah, discharge_ah : float64 (n,)
        In and out, all counted up. [Wh, Ah]
    charging_h, discharging_h : float64 (n,)
        Time with current in, and out. [h]
    charging_vh, discharging_vh : float64 (n,)
        Volts summed over the same time: an ampere more of offset moves the energies by as
        much. [V h]
    covered_h : float64 (n,)
        Measured time. [h]
    broken : bool (n,)
        Whether a silence inside is too long to be bridged, or nothing was measured.
    """

    from_ms: Instants
    to_ms: Instants
    from_c: Floats
    to_c: Floats
    charge_wh: Floats
    discharge_wh: Floats
    charge_ah: Floats
    discharge_ah: Floats
    charging_h: Floats
    discharging_h: Floats
    charging_vh: Floats
    discharging_vh: Floats
    covered_h: Floats
    broken: NDArray[np.bool_]


def segment_sums(history: PackHistory, between: FullToFull, offset: SensorOffset) -> SegmentSums:
    """Sum power and current over each segment, in one pass over the record.

    Parameters
    ----------
    history : PackHistory
        The record.
    between : FullToFull
        The segments, in order and without overlap.
    offset : SensorOffset
        Taken off the current before its sign is told.

    Notes
    -----
    Readings stand, and silences break, as in :func:`joulebook.core.held.held`.
    """
    there = ~(np.isnan(history.voltage_v) | np.isnan(history.current_a))
    at_ms, volts, amps = history.at_ms, history.voltage_v, history.current_a
    if not there.all():
        at_ms, volts, amps = at_ms[there], volts[there], amps[there]
    flow = amps - offset.at(at_ms)
    flow[np.abs(flow) < STILL_A] = 0.0
    stands = held(at_ms, step_s=history.step_s)
    sums = _Segments(at_ms, between, stands)
    charging, discharging = flow > 0, flow < 0
    charge_wh, discharge_wh = sums.by_sign(volts * flow)
    charge_ah, discharge_ah = sums.by_sign(flow)
    return SegmentSums(
        from_ms=between.from_ms,
        to_ms=between.to_ms,
        from_c=between.from_c,
        to_c=between.to_c,
        charge_wh=charge_wh,
        discharge_wh=discharge_wh,
        charge_ah=charge_ah,
        discharge_ah=discharge_ah,
        charging_h=sums.of(charging.astype(np.float64)),
        discharging_h=sums.of(discharging.astype(np.float64)),
        charging_vh=sums.of(volts * charging),
        discharging_vh=sums.of(volts * discharging),
        covered_h=sums.added(stands.hours),
        broken=(sums.added(stands.broken.astype(np.float64)) > 0) | sums.empty,
    )


class _Segments:
    """Time-weighted sums over segments of one set of rows."""

    def __init__(self, at_ms: Instants, between: FullToFull, stands: Held) -> None:
        first = np.searchsorted(at_ms, between.from_ms)
        last = np.searchsorted(at_ms, between.to_ms)
        # `reduceat` adds up from each index to the next one: every second sum is a segment.
        self._edges = np.column_stack([first, last]).ravel()
        self._stands = stands
        self.empty = first >= last

    def added(self, values: Floats) -> Floats:
        """Return the plain sum of the rows of each segment."""
        if not self._edges.size:
            return np.empty(0)
        sums: Floats = np.add.reduceat(np.append(values, 0.0), self._edges)[::2]
        return np.where(self.empty, 0.0, sums)

    def of(self, values: Floats) -> Floats:
        """Return the integral of values over each segment. [value · h]"""
        return self.added(amounts(values, self._stands))

    def by_sign(self, values: Floats) -> tuple[Floats, Floats]:
        """Return the integrals of what lies above and below zero, both counted up."""
        above, net = self.of(np.maximum(values, 0.0)), self.of(values)
        return above, above - net
