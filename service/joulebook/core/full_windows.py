"""Round trip of the battery between full charges, with no state of charge in it.

Method `round-trip-2`, see ``docs/methods/round-trip.md``. Where a battery never gets full,
`round-trip-1` of :mod:`joulebook.core.efficiency` is the one to use.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.balances import FullToFull
from joulebook.core.closing import USED, Closing, colder_c, left_open_ah, use_of
from joulebook.core.efficiency import BEST_HALF_WIDTH_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.full_segments import SegmentSums, SensorOffset, segment_sums
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

FULL_ROUND_TRIP_METHOD = "round-trip-2"

FEWEST_SEGMENTS = 5
ENOUGH_SEGMENTS = 15  # from five up to here the interval is widened

_WIDENED = 1.5
_SCATTER_RATIO = 0.0015  # of a window of 60 segments, from what full charges differ by
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
    offset_a, closing_a : float
        What was taken off the current, on average; the part of it that the window's own segments
        found, beyond what was first assumed. [A]
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
    offset_a: float = 0.0
    closing_a: float = 0.0
    uncorrected_ratio: float | None = None
    u: Uncertainty | None = None


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
    about = closing or Closing()
    return [
        round_trip_in(sums, span, offset=offset, closing=about, rated_ah=history.rated_ah)
        for span in spans
    ]


@dataclass(frozen=True, slots=True)
class _Totals:
    """Sums over the segments used, offset removed as first assumed."""

    segments: int
    charge_wh: float
    discharge_wh: float
    charge_ah: float
    charging_vh: float
    discharging_vh: float
    hours: float
    active_h: float
    open_ah: float
    open_u_ah: float
    colder_c: float

    def ratio(self, more_a: float) -> float:
        """Return out over in, with so much more taken off the current. [A]"""
        return (self.discharge_wh + more_a * self.discharging_vh) / (
            self.charge_wh - more_a * self.charging_vh
        )


def round_trip_in(
    sums: SegmentSums,
    span: Span,
    *,
    offset: SensorOffset,
    rated_ah: float,
    closing: Closing | None = None,
) -> FullRoundTrip:
    """Return the round trip of one window, as :func:`full_round_trips` does of many.

    Parameters
    ----------
    sums : SegmentSums
        Of all segments of the record.
    span : Span
        The window.
    offset, closing : SensorOffset, Closing
        As there; the sums were made with that offset.
    rated_ah : float
        What the maker rates. [Ah]
    """
    closing = closing or Closing()
    open_ah = left_open_ah(sums, closing, rated_ah)
    why = use_of(sums, span, open_ah, rated_ah)
    touching = (sums.from_ms < span.end_ms) & (sums.to_ms > span.start_ms)
    segments = WindowSegments(
        from_ms=sums.from_ms[touching],
        to_ms=sums.to_ms[touching],
        charge_wh=sums.charge_wh[touching],
        discharge_wh=sums.discharge_wh[touching],
        open_ah=open_ah[touching],
        why=why[touching],
    )
    if segments.used < FEWEST_SEGMENTS:
        return FullRoundTrip(span=span, ratio=_too_few(segments), segments=segments)
    used = why == USED
    totals = _totals(sums, used, open_ah)
    more_a = totals.open_ah / totals.active_h
    ratio = totals.ratio(more_a)
    u = _uncertainty(totals, ratio, closing, rated_ah)
    half = max(u.half_width, BEST_HALF_WIDTH_RATIO)
    assumed_a = _mean_offset(sums, used, offset)
    return FullRoundTrip(
        span=span,
        segments=segments,
        ratio=Estimate(
            value=ratio,
            low=max(ratio - half, 0.0),
            high=max(min(ratio + half, 1.0), ratio),
            coverage_ratio=min(totals.hours * 3600 / span.length_s, 1.0),
            method=FULL_ROUND_TRIP_METHOD,
        ),
        charge_wh=totals.charge_wh - more_a * totals.charging_vh,
        discharge_wh=totals.discharge_wh + more_a * totals.discharging_vh,
        hours=totals.hours,
        offset_a=assumed_a + more_a,
        closing_a=more_a,
        uncorrected_ratio=totals.ratio(-assumed_a),
        u=u,
    )


def _totals(sums: SegmentSums, used: NDArray[np.bool_], open_ah: Floats) -> _Totals:
    segments = int(np.count_nonzero(used))
    active_h = sums.charging_h[used] + sums.discharging_h[used]
    rate_a = float(np.sum(open_ah[used])) / float(np.sum(active_h))
    rest_ah = open_ah[used] - rate_a * active_h
    return _Totals(
        segments=segments,
        charge_wh=float(np.sum(sums.charge_wh[used])),
        discharge_wh=float(np.sum(sums.discharge_wh[used])),
        charge_ah=float(np.sum(sums.charge_ah[used])),
        charging_vh=float(np.sum(sums.charging_vh[used])),
        discharging_vh=float(np.sum(sums.discharging_vh[used])),
        hours=float(np.sum(sums.covered_h[used])),
        active_h=float(np.sum(active_h)),
        open_ah=float(np.sum(open_ah[used])),
        open_u_ah=math.sqrt(float(np.sum(rest_ah**2)) * segments / (segments - 1)),
        colder_c=float(np.sum(colder_c(sums)[used])),
    )


def _uncertainty(totals: _Totals, ratio: float, closing: Closing, rated_ah: float) -> Uncertainty:
    """Return what a ratio is uncertain by.

    What the closing leaves unknown is an offset, and an offset adds to one side and takes from
    the other. What full charges differ by is this window's own; how much charge is lost from
    full to full is the same in all windows of a battery.
    """
    lever = (ratio * totals.charging_vh + totals.discharging_vh) / totals.charge_wh
    lever /= totals.active_h  # a ratio for each Ah that is left open
    own_u = math.hypot(
        lever * totals.open_u_ah,
        lever * closing.cold_u * rated_ah * totals.colder_c,
        _SCATTER_RATIO * math.sqrt(_SCATTER_SEGMENTS / totals.segments),
    )
    if totals.segments < ENOUGH_SEGMENTS:
        own_u *= _WIDENED
    return Uncertainty(own_u, lever * closing.loss_u * totals.charge_ah)


def _mean_offset(sums: SegmentSums, used: NDArray[np.bool_], offset: SensorOffset) -> float:
    """Return the offset that was first assumed, averaged over the segments used. [A]"""
    middle = (sums.from_ms[used] + sums.to_ms[used]) // 2
    return float(np.average(offset.at(middle), weights=sums.covered_h[used]))


def _too_few(segments: WindowSegments) -> Estimate:
    return refused(
        f"only {segments.used} of {segments.why.size} times from one full charge to the next can "
        f"be used here; {FEWEST_SEGMENTS} are needed",
        method=FULL_ROUND_TRIP_METHOD,
    )
