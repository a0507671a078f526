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
    """Points of a line, NaN where it breaks; ``thinned`` if readings between them are left out."""

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
    """Return the points of a line, all of them readings, with NaN where it must break.

    Where there are more than two readings a pixel, the least and the greatest of each pixel stay,
    and those on either side of a gap: so no peak is lost, however short, and no gap is moved.

    Parameters
    ----------
    at_ms, value : arrays, shape (n,)
        Readings in order of time; NaN is missing.
    span : Span
        What the picture shows. The line goes on to the nearest reading on either side of it.
    width : int
        Of the picture. [px]
    """
    there = ~np.isnan(value)
    at_ms, value = at_ms[there], value[there]
    first, last = at_ms.searchsorted((span.start_ms, span.end_ms))
    kept = np.arange(first, last)
    few = kept.size <= 2 * width
    if not few:
        kept = first + _extremes(at_ms[first:last], value[first:last], span, width)
    # Nothing is drawn to the nearest readings outside if a gap lies between.
    around = [place for place in (first - 1, last) if 0 <= place < at_ms.size and kept.size]
    kept = np.union1d(kept, np.array(around, dtype=np.int64))
    stretch = np.concatenate(([0], np.cumsum(np.diff(at_ms) > GAP_MS)))[kept]
    breaks = np.flatnonzero(np.diff(stretch)) + 1
    inside = at_ms[kept]
    return LinePoints(
        np.insert(inside, breaks, inside[breaks - 1] + 1),
        np.insert(value[kept], breaks, np.nan),
        thinned=not few,
    )


def _extremes(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], span: Span, width: int
) -> NDArray[np.int64]:
    """Return where the least and the greatest of each pixel are, and the edges of every gap."""
    pixel = (at_ms - span.start_ms) * width // (span.end_ms - span.start_ms)
    order = np.lexsort((value, pixel))
    starts = np.flatnonzero(np.diff(pixel[order], prepend=-1))
    ends = np.append(starts[1:], pixel.size) - 1
    gaps = np.flatnonzero(np.diff(at_ms) > GAP_MS)
    edges = np.array([0, at_ms.size - 1], dtype=np.int64)
    return np.unique(np.concatenate((order[starts], order[ends], gaps, gaps + 1, edges)))
