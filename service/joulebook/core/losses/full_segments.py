"""Energy and charge through the battery from the end of one full charge to the start of the next.

Both ends of such a segment are the same state, so what went in and did not come out was lost:
no state of charge is needed. What the current sensor reads when nothing flows is taken off first.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import FullToFull
from joulebook.core.held import Held, amounts, held
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.losses.rest_zero import RestBlocks, rest_blocks
from joulebook.core.spans import Span

#: Smaller currents are mostly noise: of them only the net sum counts (our choice). [A]
STILL_A = 0.15

_LONGEST_HOLD_MS = 72 * 3_600_000


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
    rest : RestBlocks
        When the battery rested between full charges, and what the sensor read then.
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
    rest: RestBlocks


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
    stands = held(at_ms, step_s=history.step_s)
    broken = stands.broken.astype(np.float64)
    begin_ms = _earlier_starts(between)
    held_broken, _ = _Segments(at_ms, begin_ms, between, stands).added(broken)
    begin_ms = np.where(held_broken > 0, between.from_ms, begin_ms)
    sums = _Segments(at_ms, begin_ms, between, stands)
    still = np.abs(flow) < STILL_A
    small = np.where(still, flow, 0.0)
    flow[still] = 0.0
    into, out = (sums.of(np.maximum(sign * flow, 0.0), sign * flow > 0, volts) for sign in (1, -1))
    net = sums.of(small, still, volts)
    charge, discharge = into.together(), out.together()
    for part in (net.held, net.used):
        charge = charge.plus(part, part.ah > 0, 1)
        discharge = discharge.plus(part, part.ah <= 0, -1)
    breaks, hours = sums.added(broken), sums.added(stands.hours)
    return SegmentSums(
        from_ms=begin_ms,
        to_ms=between.to_ms,
        from_c=between.from_c,
        to_c=between.to_c,
        charge_wh=charge.wh,
        discharge_wh=discharge.wh,
        charge_ah=charge.ah,
        discharge_ah=discharge.ah,
        charging_h=charge.hours,
        discharging_h=discharge.hours,
        charging_vh=charge.vh,
        discharging_vh=discharge.vh,
        covered_h=hours[0] + hours[1],
        broken=(breaks[0] + breaks[1] > 0) | sums.empty,
        rest=rest_blocks(history, between, offset.at),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flow:
    """Charge, energy, time and volts summed over it, one way, for each segment."""

    ah: Floats
    wh: Floats
    hours: Floats
    vh: Floats

    def plus(self, net: "_Flow", where: NDArray[np.bool_], sign: int) -> "_Flow":
        """Return this flow with another one's amounts added to some segments."""
        return _Flow(
            ah=self.ah + np.where(where, sign * net.ah, 0.0),
            wh=self.wh + np.where(where, sign * net.wh, 0.0),
            hours=self.hours + np.where(where, net.hours, 0.0),
            vh=self.vh + np.where(where, net.vh, 0.0),
        )


@dataclass(frozen=True, slots=True)
class _Parts:
    """The flow while the full charge at the head is held, and from its end on."""

    held: _Flow
    used: _Flow

    def together(self) -> _Flow:
        """Return both."""
        return self.held.plus(self.used, np.ones(self.held.ah.size, dtype=np.bool_), 1)


def _earlier_starts(between: FullToFull) -> Instants:
    """Return when the full charge at the head of each segment was reached, where that is known."""
    begin_ms = between.from_ms.copy()
    reached = between.to_ms[:-1]
    held_ms = between.from_ms[1:] - reached
    known = (held_ms >= 0) & (held_ms <= _LONGEST_HOLD_MS)
    begin_ms[1:][known] = reached[known]
    return begin_ms


class _Segments:
    """Time-weighted sums over segments of one set of rows, their two parts apart."""

    def __init__(
        self, at_ms: Instants, begin_ms: Instants, between: FullToFull, stands: Held
    ) -> None:
        edges = [
            np.searchsorted(at_ms, each) for each in (begin_ms, between.from_ms, between.to_ms)
        ]
        # `reduceat` adds up from each index to the next: held, used, and what lies between.
        self._edges = np.column_stack(edges).ravel()
        self._stands = stands
        self._not_held, self.empty = edges[0] >= edges[1], edges[1] >= edges[2]

    def added(self, values: Floats) -> tuple[Floats, Floats]:
        """Return the plain sums of the rows of each segment, held and used."""
        if not self._edges.size:
            return np.empty(0), np.empty(0)
        sums = np.add.reduceat(np.append(values, 0.0), self._edges)
        return np.where(self._not_held, 0.0, sums[::3]), np.where(self.empty, 0.0, sums[1::3])

    def of(self, flow_a: Floats, flowing: NDArray[np.bool_], volts: Floats) -> _Parts:
        """Return charge, energy and time of a current where it flows."""
        sums = [
            self.added(amounts(each, self._stands))
            for each in (flow_a, flow_a * volts, flowing.astype(np.float64), flowing * volts)
        ]
        held, used = (
            _Flow(ah=ah, wh=wh, hours=hours, vh=vh) for ah, wh, hours, vh in zip(*sums, strict=True)
        )
        return _Parts(held, used)
