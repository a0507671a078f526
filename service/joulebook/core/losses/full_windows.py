"""Round trip of the battery between full charges, with no state of charge in it.

Method `round-trip-2`, see ``docs/methods/round-trip.md``. Where a battery never gets full,
`round-trip-1` of :mod:`joulebook.core.daily.efficiency` is the one to use.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import FullToFull
from joulebook.core.daily.efficiency import BEST_HALF_WIDTH_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.losses.closing import USED, Closing, left_open_ah, use_of
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset, segment_sums
from joulebook.core.losses.window_zero import (
    FEWEST_SEGMENTS,
    Zero,
    mean_offset,
    open_u_ah,
    window_zero,
)
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

FULL_ROUND_TRIP_METHOD = "round-trip-2"

ENOUGH_SEGMENTS = 15  # with fewer the interval is widened

_WIDENED = 1.5
_SCATTER_RATIO = 0.0006  # of a window of 60 segments, from what full charges differ by
_SCATTER_SEGMENTS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowSegments:
    """The segments that touch a window; arrays of equal length.

    Attributes
    ----------
    from_ms, to_ms : int64 (n,)
        End of one full charge, start of the next. [ms, UTC epoch]
    charge_wh, discharge_wh : float64 (n,)
        In and out, the offset first assumed removed. [Wh]
    open_ah : float64 (n,)
        More charge in than out, and than is usually lost: what the window's closing spreads. [Ah]
    why : int64 (n,)
        ``USED``, or why not: an index of ``WHY``.
    """

    from_ms: Instants
    to_ms: Instants
    charge_wh: Floats
    discharge_wh: Floats
    open_ah: Floats
    why: NDArray[np.int64]

    @property
    def used(self) -> int:
        """How many are used."""
        return int(np.count_nonzero(self.why == USED))


@dataclass(frozen=True, slots=True, kw_only=True)
class FullRoundTrip:
    """The round trip of one window, with what it was computed from.

    Attributes
    ----------
    span : Span
        The window.
    ratio : Estimate
        DC energy out over DC energy in.
    segments : WindowSegments
        All that touch the window, those not used as well.
    charge_wh, discharge_wh : float
        In and out over the segments used, offset removed. [Wh]
    hours : float
        Measured time in them. [h]
    zero : Zero or None
        What was taken off the current, and how it was found.
    closing_a : float
        The part of it that goes beyond what was first assumed. [A]
    uncorrected_ratio : float or None
        What it would be had the sensor no offset.
    u : Uncertainty or None
        What the interval is made of, where the ratio is given.
    """

    span: Span
    ratio: Estimate
    segments: WindowSegments
    charge_wh: float = 0.0
    discharge_wh: float = 0.0
    hours: float = 0.0
    zero: Zero | None = None
    closing_a: float = 0.0
    uncorrected_ratio: float | None = None
    u: Uncertainty | None = None

    @property
    def offset_a(self) -> float | None:
        """What was taken off the current, on average; ``None`` where there is no round trip. [A]"""
        return None if self.zero is None else self.zero.offset_a


def full_round_trips(
    history: PackHistory,
    between: FullToFull,
    spans: Sequence[Span],
    *,
    offset: SensorOffset,
    closing: Closing | None = None,
) -> list[FullRoundTrip]:
    """Return the round trip of each window from the segments that lie wholly within it.

    Parameters
    ----------
    history, between : PackHistory, FullToFull
        The record, and its segments in order.
    spans : sequence of Span
        The windows: quarters, or what lies between two events.
    offset : SensorOffset
        A first idea of the sensor's offset; each window's own segments close what is left of it.
    closing : Closing, optional
        What is lost from full to full; by default what lithium iron phosphate commonly does.
    """
    sums = segment_sums(history, between, offset)
    return [
        round_trip_in(sums, span, offset=offset, rated_ah=history.rated_ah, closing=closing)
        for span in spans
    ]


def round_trip_in(
    sums: SegmentSums,
    span: Span,
    *,
    offset: SensorOffset,
    rated_ah: float,
    closing: Closing | None = None,
) -> FullRoundTrip:
    """Return the round trip of one window.

    Parameters
    ----------
    sums : SegmentSums
        Of the record's segments, with ``offset`` taken off.
    span, offset, closing
        As of `full_round_trips`.
    rated_ah : float
        What the maker rates. [Ah]
    """
    closing = closing or Closing()
    open_ah = left_open_ah(sums, closing, rated_ah)
    why = use_of(sums, span, open_ah, rated_ah)
    segments = _touching(sums, span, open_ah, why)
    if segments.used < FEWEST_SEGMENTS:
        return FullRoundTrip(span=span, ratio=_too_few(segments), segments=segments)
    used = why == USED
    zero = window_zero(sums, used, span, offset=offset, closing=closing, rated_ah=rated_ah)
    assumed_a = mean_offset(sums, used, offset)
    energies = _Energies(
        charge_wh=float(np.sum(sums.charge_wh[used])),
        discharge_wh=float(np.sum(sums.discharge_wh[used])),
        charging_vh=float(np.sum(sums.charging_vh[used])),
        discharging_vh=float(np.sum(sums.discharging_vh[used])),
    )
    closed = energies.with_less(zero.offset_a - assumed_a)
    # What full charges differ by went in and did not come out, or the other way round.
    unlike = open_u_ah(sums, used, open_ah) / float(np.sum(sums.charge_ah[used]))
    u = _uncertainty(closed, zero.u, unlike, segments.used)
    hours = float(np.sum(sums.covered_h[used]))
    half = max(u.half_width, BEST_HALF_WIDTH_RATIO)
    return FullRoundTrip(
        span=span,
        ratio=Estimate(
            value=closed.ratio,
            low=max(closed.ratio - half, 0.0),
            high=max(min(closed.ratio + half, 1.0), closed.ratio),
            coverage_ratio=min(hours * 3600 / span.length_s, 1.0),
            method=FULL_ROUND_TRIP_METHOD,
        ),
        segments=segments,
        charge_wh=closed.charge_wh,
        discharge_wh=closed.discharge_wh,
        hours=hours,
        zero=zero,
        closing_a=zero.offset_a - assumed_a,
        uncorrected_ratio=energies.with_less(-assumed_a).ratio,
        u=u,
    )


@dataclass(frozen=True, slots=True)
class _Energies:
    """Energy in and out [Wh], and by how much an ampere more of offset moves them. [V h]"""

    charge_wh: float
    discharge_wh: float
    charging_vh: float
    discharging_vh: float

    @property
    def ratio(self) -> float:
        return self.discharge_wh / self.charge_wh

    @property
    def ratio_per_a(self) -> float:
        """By how much the ratio rises for an ampere more of offset."""
        return (self.ratio * self.charging_vh + self.discharging_vh) / self.charge_wh

    def with_less(self, more_a: float) -> "_Energies":
        """Return the energies with so much more taken off the current. [A]"""
        return replace(
            self,
            charge_wh=self.charge_wh - more_a * self.charging_vh,
            discharge_wh=self.discharge_wh + more_a * self.discharging_vh,
        )


def _touching(
    sums: SegmentSums, span: Span, open_ah: Floats, why: NDArray[np.int64]
) -> WindowSegments:
    touching = (sums.from_ms < span.end_ms) & (sums.to_ms > span.start_ms)
    return WindowSegments(
        from_ms=sums.from_ms[touching],
        to_ms=sums.to_ms[touching],
        charge_wh=sums.charge_wh[touching],
        discharge_wh=sums.discharge_wh[touching],
        open_ah=open_ah[touching],
        why=why[touching],
    )


def _uncertainty(
    energies: _Energies, zero_u: Uncertainty, unlike: float, segments: int
) -> Uncertainty:
    """Return what a ratio is uncertain by.

    An offset adds to one side and takes from the other. The rest is what segments differ by.
    """
    own_u = math.hypot(
        energies.ratio_per_a * zero_u.own,
        energies.ratio * unlike,
        _SCATTER_RATIO * math.sqrt(_SCATTER_SEGMENTS / segments),
    )
    if segments < ENOUGH_SEGMENTS:
        own_u *= _WIDENED
    return Uncertainty(own_u, energies.ratio_per_a * zero_u.shared)


def _too_few(segments: WindowSegments) -> Estimate:
    return refused(
        f"only {segments.used} of {segments.why.size} times from one full charge to the next can "
        f"be used here; {FEWEST_SEGMENTS} are needed",
        method=FULL_ROUND_TRIP_METHOD,
    )
