"""Readings of one series in as much detail as a picture of some width can show.

A picture shows two readings a pixel at most. Where there are more, those of each pixel are put
together; where a pixel is longer than a quarter hour, stored quarter hours are, and not readings:
years take no more memory than days.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import MAX_GAP_S, coverage_ratio, curve
from joulebook.core.daily.quarters import QUARTER_MS, Quarters
from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.quarters import read_quarters
from joulebook.storage.reading import stream_device
from joulebook.storage.records import Series
from joulebook.web.series.thinning import Thinned, known, thinned

Resolution = Literal["raw", "thinned", "quarter-hours"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings of one series over a span, or buckets of them.

    Attributes
    ----------
    resolution : str
        Which: "raw" has readings, the others have buckets.
    count : int
        How many readings there are, or are in the buckets.
    coverage_ratio : float
        The measured share of the span.
    at_ms, value : arrays, shape (n,)
        The readings, none of them missing; empty where there are buckets.
    buckets : Thinned or None
        Buckets of equal time.
    coverage : float array, shape (m,), or None
        The measured share of each bucket, where it is known.
    """

    resolution: Resolution
    count: int
    coverage_ratio: float
    at_ms: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    value: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    buckets: Thinned | None = None
    coverage: NDArray[np.float64] | None = None


def readings_for(connection: Connection, series: Series, span: Span, width: int) -> Readings:
    """Return what a picture of the span can show.

    Parameters
    ----------
    series : Series
        Of numbers or flags.
    width : int
        Of the picture. [px]
    """
    quarters_a_pixel = -(-(span.end_ms - span.start_ms) // (width * QUARTER_MS))
    if quarters_a_pixel <= 1:
        return _of_readings(connection, series, span, width)
    step_ms = quarters_a_pixel * QUARTER_MS
    quarters = read_quarters(
        connection,
        series.site_id,
        series.device,
        span,
        quantities=[series.quantity],
        step_s=step_ms // 1000,
    ).quantities[series.quantity]
    count = int(quarters.count.sum())
    if count <= 2 * width:
        return _of_readings(connection, series, span, width)
    return _of_quarters(quarters, step_ms, span, count)


def _of_readings(connection: Connection, series: Series, span: Span, width: int) -> Readings:
    # A line that comes in from outside is measured time too.
    margin_ms = round(MAX_GAP_S * 1000)
    wide = Span(span.start_ms - margin_ms, span.end_ms + margin_ms)
    # A week at a time: a quantity that its device reports seldom is in many rows not there.
    weeks = stream_device(
        connection, series.site_id, series.device, wide, quantities=[series.quantity]
    )
    parts = [known(week.at_ms, week.values[series.quantity], wide) for week in weeks]
    parts.append((np.empty(0, np.int64), np.empty(0)))
    line = curve(*(np.concatenate(each) for each in zip(*parts, strict=True)))
    at_ms, value = known(line.at_ms, line.value, span)
    covered = coverage_ratio(line, span)
    if at_ms.size <= 2 * width:
        return Readings(
            resolution="raw",
            count=at_ms.size,
            coverage_ratio=covered,
            at_ms=at_ms,
            value=value,
        )
    return Readings(
        resolution="thinned",
        count=at_ms.size,
        coverage_ratio=covered,
        buckets=thinned(at_ms, value, span=span, buckets=width),
    )


def _of_quarters(quarters: Quarters, step_ms: int, span: Span, count: int) -> Readings:
    return Readings(
        resolution="quarter-hours",
        count=count,
        # The outer buckets may reach beyond the span by less than a quarter hour and a step.
        coverage_ratio=min(float(quarters.covered_ms.sum()) / (span.end_ms - span.start_ms), 1.0),
        buckets=Thinned(
            at_ms=quarters.start_ms,
            low=quarters.low,
            mean=quarters.mean,
            high=quarters.high,
            count=quarters.count,
            bucket_ms=step_ms,
        ),
        coverage=quarters.covered_ms / step_ms,
    )
