"""Whether full-to-full segments close: charge in and out agree but for offset and known losses."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats
from joulebook.core.losses.full_segments import SegmentSums
from joulebook.core.spans import Span

_LEAST_CHARGE_RATIO = 0.03  # of the rated charge, or nothing went round
_CLOSING_LIMIT_RATIO = 0.02  # of the rated charge, and that many median deviations:
_CLOSING_DEVIATIONS = 6 * 1.48
_REFERENCE_C = 25.0

#: Why a segment of the record is not in a window, by its number in ``Working.why``.
USED, CROSSING, BROKEN, LITTLE, OPEN = range(5)
WHY = (
    "used",
    "crosses the window's start or end",
    "readings are missing for too long",
    "too little went in",
    "charge in and out differ by far more than usual: not from full to full",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """What charge in and out differ by from full to full, other than by the sensor's offset.

    Attributes
    ----------
    loss_ratio, loss_u : float
        Share of the charge put in that never comes out, and its standard uncertainty.
    cold_ratio, cold_u : float
        Share of the rated charge that a full charge lacks for each degree below 25 °C, likewise.
    hidden_a, hidden_u : float
        What the battery's own electronics draw behind the current sensor, likewise. [A]
    """

    loss_ratio: float = 0.0025
    loss_u: float = 0.0015
    cold_ratio: float = 0.0015
    cold_u: float = 0.0015
    hidden_a: float = 0.01
    hidden_u: float = 0.017


def left_open_ah(sums: SegmentSums, closing: Closing, rated_ah: float) -> Floats:
    """Return by how much each segment fails to close. [Ah]"""
    expected = closing.loss_ratio * sums.charge_ah + closing.hidden_a * sums.covered_h
    expected -= closing.cold_ratio * rated_ah * colder_c(sums)
    open_ah: Floats = sums.charge_ah - sums.discharge_ah - expected
    return open_ah


def colder_c(sums: SegmentSums) -> Floats:
    """Return how much colder the second full charge was than the first, below 25 °C. [°C]"""
    before, after = (np.maximum(_REFERENCE_C - each, 0.0) for each in (sums.from_c, sums.to_c))
    colder: Floats = np.nan_to_num(after - before)  # not corrected for where it is not known
    return colder


def use_of(sums: SegmentSums, span: Span, open_ah: Floats, rated_ah: float) -> NDArray[np.int64]:
    """Return for each segment whether a window uses it, or why not."""
    why = np.full(open_ah.size, USED)
    why[sums.charge_ah < _LEAST_CHARGE_RATIO * rated_ah] = LITTLE
    why[sums.broken] = BROKEN
    why[(sums.from_ms < span.start_ms) | (sums.to_ms > span.end_ms)] = CROSSING
    # A drifting offset leaves an equal rate open in all segments, and not an equal charge.
    used = np.flatnonzero(why == USED)
    if used.size:
        rate_a = open_ah[used] / sums.covered_h[used]
        off_ah = (rate_a - np.median(rate_a)) * sums.covered_h[used]
        limit = _CLOSING_DEVIATIONS * float(np.median(np.abs(off_ah)))
        why[used[np.abs(off_ah) > max(limit, _CLOSING_LIMIT_RATIO * rated_ah)]] = OPEN
    return why
