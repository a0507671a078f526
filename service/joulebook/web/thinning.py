"""As many points as a picture has pixels, and no gap bridged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import Span

#: Readings further apart than this are not joined by a line. [ms]
GAP_MS = 300_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinned:
    """Readings of one quantity in buckets of equal time.

    Attributes
    ----------
    at_ms : int64 array, shape (n,)
        Where each bucket starts. [ms, UTC epoch]
    low, mean, high : float64 arrays, shape (n,)
        The least, the mean and the greatest of its readings; NaN where it holds none.
    count : int64 array, shape (n,)
        How many readings it holds.
    bucket_ms : float
        How long a bucket is. [ms]
    """

    at_ms: NDArray[np.int64]
    low: NDArray[np.float64]
    mean: NDArray[np.float64]
    high: NDArray[np.float64]
    count: NDArray[np.int64]
    bucket_ms: float


@dataclass(frozen=True, slots=True)
class LinePoints:
    """Points of a line, NaN where it breaks; ``thinned`` if they are means of readings."""

    at_ms: NDArray[np.int64]
    value: NDArray[np.float64]
    thinned: bool


def known(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], span: Span
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the readings within a span, without those that are missing."""
    kept = (at_ms >= span.start_ms) & (at_ms < span.end_ms) & ~np.isnan(value)
    return at_ms[kept], value[kept]


def thinned(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], *, span: Span, buckets: int
) -> Thinned:
    """Put readings (in order of time, none missing, all within the span) into buckets."""
    bucket_ms = (span.end_ms - span.start_ms) / buckets
    place = ((at_ms - span.start_ms) / bucket_ms).astype(np.int64)
    count = np.bincount(place, minlength=buckets)
    low, mean, high = (np.full(buckets, np.nan) for _ in range(3))
    filled = np.flatnonzero(count)
    if filled.size:
        starts = np.searchsorted(place, filled)
        low[filled] = np.minimum.reduceat(value, starts)
        high[filled] = np.maximum.reduceat(value, starts)
        mean[filled] = np.add.reduceat(value, starts) / count[filled]
    edges_ms = span.start_ms + np.arange(buckets) * bucket_ms
    return Thinned(
        at_ms=np.rint(edges_ms).astype(np.int64),
        low=low,
        mean=mean,
        high=high,
        count=count,
        bucket_ms=bucket_ms,
    )


def line_points(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], *, span: Span, width: int
) -> LinePoints:
    """Return the points of a line: the readings or their means, with NaN where it must break.

    Parameters
    ----------
    at_ms, value : arrays, shape (n,)
        Readings in order of time; NaN is missing.
    span : Span
        What the picture shows.
    width : int
        Its width; up to two readings a pixel are drawn as they are. [px]
    """
    at_ms, value = known(at_ms, value, span)
    if at_ms.size > 2 * width:
        buckets = thinned(at_ms, value, span=span, buckets=width)
        filled = buckets.count > 0
        middle_ms = buckets.at_ms[filled] + round(buckets.bucket_ms / 2)
        gap_ms = max(GAP_MS, 1.5 * buckets.bucket_ms)
        return LinePoints(*_broken(middle_ms, buckets.mean[filled], gap_ms), thinned=True)
    return LinePoints(*_broken(at_ms, value, GAP_MS), thinned=False)


def _broken(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], gap_ms: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    after = np.flatnonzero(np.diff(at_ms) > gap_ms) + 1
    return np.insert(at_ms, after, at_ms[after - 1] + 1), np.insert(value, after, np.nan)
