"""Readings of one series over a span, in as much detail as a picture can show."""

from collections.abc import Sequence
from contextlib import closing
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from numpy.typing import NDArray

from joulebook.storage.records import Series, Site
from joulebook.storage.series import series_of
from joulebook.web.asked import asked_span, asked_width
from joulebook.web.problems import ProblemError
from joulebook.web.series.resolution import Readings, readings_for
from joulebook.web.sites import Backed, Sited

router = APIRouter(prefix="/api/v1", tags=["readings"])

_END = "a date of the site or an RFC 3339 time with its offset"


@router.get("/sites/{site}/readings")
def readings(
    site: Sited,
    backing: Backed,
    device: Annotated[str, Query(description="Such as battery or battery-2.")],
    quantity: Annotated[str, Query(description="Such as power; its unit is in the answer.")],
    start: Annotated[
        str | None, Query(alias="from", description=f"Start: {_END}; 24 hours before the end.")
    ] = None,
    end: Annotated[
        str | None, Query(alias="to", description=f"End: {_END}; a date is included. Now.")
    ] = None,
    width: Annotated[
        str | None, Query(description="Width of the picture in pixels, 10 to 4000; 400.")
    ] = None,
) -> dict[str, Any]:
    """Give times and values, at most two a pixel.

    "resolution" says what of. Where it is "raw", each time has its value. Else each time is the
    start of a bucket of "bucket_ms", with min, mean, max and count of the readings in it (null
    where it holds none): where it is "thinned", of the readings themselves, and where it is
    "quarter-hours", of one quarter hour or several, with means over time and the measured share
    of each under "coverage". The outer ones may begin before "from_ms" and end after "to_ms".
    """
    span = asked_span(start, end, zone=site.zone, now_ms=backing.clock_ms())
    pixels = asked_width(width)
    with closing(backing.database.connect()) as connection:
        series = _series(series_of(connection, site.id), site, device, quantity)
        found = readings_for(connection, series, span, pixels)
    return {
        "site": site.name,
        "device": device,
        "quantity": quantity,
        "unit": series.unit,
        "from_ms": span.start_ms,
        "to_ms": span.end_ms,
        "readings": found.count,
        "coverage_ratio": found.coverage_ratio,
        "resolution": found.resolution,
        **_points(found),
    }


def _points(found: Readings) -> dict[str, Any]:
    if found.buckets is None:
        return {"time_ms": found.at_ms.tolist(), "value": found.value.tolist()}
    buckets = found.buckets
    points = {
        "bucket_ms": buckets.bucket_ms,
        "time_ms": buckets.at_ms.tolist(),
        "min": _nullable(buckets.low),
        "mean": _nullable(buckets.mean),
        "max": _nullable(buckets.high),
        "count": buckets.count.tolist(),
    }
    if found.coverage is not None:
        points["coverage"] = found.coverage.tolist()
    return points


def _nullable(values: NDArray[np.float64]) -> list[float | None]:
    return [None if np.isnan(value) else float(value) for value in values]


def _series(all_series: Sequence[Series], site: Site, device: str, quantity: str) -> Series:
    of_device = [each for each in all_series if each.device == device]
    if not of_device:
        devices = sorted({each.device for each in all_series})
        raise ProblemError(
            404,
            "unknown-device",
            f"the {site.name} has no device {device[:80]!r}",
            where="query parameter 'device'",
            expected=f"one of {', '.join(devices) or 'none yet'}",
            next_step="choose one of them",
        )
    series = next((each for each in of_device if each.quantity == quantity), None)
    if series is None:
        raise ProblemError(
            404,
            "unknown-quantity",
            f"{device} has never reported {quantity[:80]!r}",
            where="query parameter 'quantity'",
            expected=f"one of {', '.join(sorted(each.quantity for each in of_device))}",
            next_step="choose one of them",
        )
    if series.kind == "text":
        raise ProblemError(
            422,
            "not-numbers",
            f"{device}/{quantity} is text, which has no curve",
            where="query parameter 'quantity'",
            expected="a quantity of numbers or flags",
            next_step="read its newest value from the site's latest readings",
        )
    return series
