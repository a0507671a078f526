"""What the current sensor reads when nothing flows, from two witnesses that do not know each other.

The charge balance: from full to full no more may go in than comes out and is known to be lost. And
rest: what is read while the battery does nothing. The balance takes what the battery's electronics
draw behind the sensor for an offset, rest does not; but not every battery rests.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import MS_PER_DAY, Floats
from joulebook.core.losses.closing import USED, Closing, colder_c, left_open_ah, use_of
from joulebook.core.losses.full_segments import SegmentSums, SensorOffset
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

#: Fewer segments tell nothing of a window.
FEWEST_SEGMENTS = 5
#: The offset is told by windows of this length: it drifts with the seasons. [days]
_WINDOW_DAYS = 91
#: A sensor at rest is not as warm as one at work (our choice). [A]
_REST_SHARED_A = 0.006
#: So many standard uncertainties apart, one of the two witnesses is wrong (our choice).
_CONTRADICTION = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """The offset over one window.

    Attributes
    ----------
    offset_a : float
        What is read when nothing flows. [A]
    u : Uncertainty
        Of it. [A]
    closing_a, rest_a : float, float or None
        What each witness says alone. [A]
    rest_h : float
        How long the battery was seen at rest. [h]
    """

    offset_a: float
    u: Uncertainty
    closing_a: float
    rest_a: float | None
    rest_h: float


def window_zero(
    sums: SegmentSums,
    used: NDArray[np.bool_],
    span: Span,
    *,
    offset: SensorOffset,
    closing: Closing,
    rated_ah: float,
) -> Zero:
    """Return the offset over a window from the segments that it uses, and from rest in it.

    Parameters
    ----------
    sums : SegmentSums
        Of the record, with ``offset`` taken off.
    used : bool (n,)
        Which segments count; at least two.
    """
    assumed_a = mean_offset(sums, used, offset)
    by_closing, closing_u = _by_closing(sums, used, closing, rated_ah)
    by_closing += assumed_a
    seen = sums.rest.zero(span)
    if seen is None:
        return Zero(offset_a=by_closing, u=closing_u, closing_a=by_closing, rest_a=None, rest_h=0.0)
    by_rest, rest_u = seen[0], Uncertainty(seen[1], _REST_SHARED_A)
    apart = abs(by_closing - by_rest) / math.hypot(closing_u.total, rest_u.total)
    if apart > _CONTRADICTION:  # one of the two is wrong, and which one is not known
        unknown = abs(by_closing - by_rest) / math.sqrt(2)
        closing_u, rest_u = (
            replace(u, own=math.hypot(u.own, unknown)) for u in (closing_u, rest_u)
        )
        apart = 0.0
    share = closing_u.total**-2 / (closing_u.total**-2 + rest_u.total**-2)
    wider = max(apart / 2, 1.0)
    return Zero(
        offset_a=share * by_closing + (1 - share) * by_rest,
        u=Uncertainty(
            wider * math.hypot(share * closing_u.own, (1 - share) * rest_u.own),
            wider * math.hypot(share * closing_u.shared, (1 - share) * rest_u.shared),
        ),
        closing_a=by_closing,
        rest_a=by_rest,
        rest_h=sums.rest.hours(span),
    )


def mean_offset(sums: SegmentSums, used: NDArray[np.bool_], offset: SensorOffset) -> float:
    """Return an offset averaged over segments. [A]"""
    middle = (sums.from_ms[used] + sums.to_ms[used]) // 2
    return float(np.average(offset.at(middle), weights=sums.covered_h[used]))


def open_u_ah(sums: SegmentSums, used: NDArray[np.bool_], open_ah: Floats) -> float:
    """Return what is uncertain of all that is left open, from how segments differ. [Ah]"""
    hours = sums.charging_h[used] + sums.discharging_h[used]
    rest = open_ah[used] - float(np.sum(open_ah[used]) / np.sum(hours)) * hours
    return math.sqrt(float(np.sum(rest**2)) * rest.size / (rest.size - 1))


def _by_closing(
    sums: SegmentSums, used: NDArray[np.bool_], closing: Closing, rated_ah: float
) -> tuple[float, Uncertainty]:
    """Return the offset beyond the one assumed that closes the segments. [A]"""
    open_ah = left_open_ah(sums, closing, rated_ah)
    active_h = float(np.sum(sums.charging_h[used] + sums.discharging_h[used]))
    own_ah = math.hypot(
        open_u_ah(sums, used, open_ah),
        closing.cold_u * rated_ah * float(np.sum(colder_c(sums)[used])),
    )
    shared_ah = math.hypot(
        closing.loss_u * float(np.sum(sums.charge_ah[used])),
        closing.hidden_u * float(np.sum(sums.covered_h[used])),
    )
    found_a = float(np.sum(open_ah[used])) / active_h
    return found_a, Uncertainty(own_ah / active_h, shared_ah / active_h)


def rested_offset(
    sums: SegmentSums,
    assumed: SensorOffset,
    *,
    rated_ah: float,
    steps_ms: Sequence[int] = (),
    closing: Closing | None = None,
) -> SensorOffset:
    """Return the offset over a whole record, from both witnesses; as assumed where they are mute.

    Parameters
    ----------
    sums : SegmentSums
        Of the record's segments, with ``assumed`` taken off.
    assumed : SensorOffset
        A first idea, such as that of the fit of capacity.
    rated_ah : float
        What the maker rates. [Ah]
    steps_ms : sequence of int
        Where the offset may have stepped: no window reaches across. [ms, UTC epoch]
    closing : Closing, optional
        What is lost from full to full; by default what lithium iron phosphate commonly does.
    """
    if not sums.from_ms.size:
        return assumed
    about = closing or Closing()
    open_ah = left_open_ah(sums, about, rated_ah)
    start, end = int(sums.from_ms[0]), int(sums.to_ms[-1])
    inner = sorted(each for each in steps_ms if start < each < end)
    knots: list[tuple[int, Zero]] = []
    for first, last in pairwise([start, *inner, end]):
        found = []
        for span in _windows(first, last):
            used = use_of(sums, span, open_ah, rated_ah) == USED
            if np.count_nonzero(used) >= FEWEST_SEGMENTS:
                zero = window_zero(
                    sums, used, span, offset=assumed, closing=about, rated_ah=rated_ah
                )
                found.append(((span.start_ms + span.end_ms) // 2, zero))
        if found:  # constant to both ends of the stretch, so that it may step there
            knots += [(first, found[0][1]), *found, (last - 1, found[-1][1])]
    if not knots:
        return assumed
    return SensorOffset(
        at_ms=np.array([at for at, _ in knots], dtype=np.int64),
        offset_a=np.array([zero.offset_a for _, zero in knots]),
        u_a=np.array([zero.u.total for _, zero in knots]),
    )


def _windows(start_ms: int, end_ms: int) -> list[Span]:
    """Return windows of about a quarter that fill a stretch of time."""
    count = max(round((end_ms - start_ms) / (_WINDOW_DAYS * MS_PER_DAY)), 1)
    edges = np.linspace(start_ms, end_ms, count + 1).astype(np.int64).tolist()
    return [Span(first, last) for first, last in pairwise(edges)]
