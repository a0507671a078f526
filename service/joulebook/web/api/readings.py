"""Readings of one series over a span, as they are or thinned for a picture."""

from collections.abc import Sequence
from contextlib import closing
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from numpy.typing import NDArray

from joulebook.core.spans import Span
from joulebook.storage.reading import read_device
from joulebook.storage.records import Series, Site
from joulebook.storage.series import series_of
from joulebook.web.asked import asked_span, asked_width
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed, Sited
from joulebook.web.thinning import known, thinned

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

    "chosen" says which. Where it is "raw", each time has its value; where it is "thinned", each
    is the start of a bucket of "bucket_ms", with min, mean, max and count of the readings in it
    (null where it holds none).
    """
    span = asked_span(start, end, zone=site.zone, now_ms=backing.clock_ms())
    pixels = asked_width(width)
    with closing(backing.database.connect()) as connection:
        series = _series(series_of(connection, site.id), site, device, quantity)
        found = read_device(connection, site.id, device, span, quantities=[quantity])
    at_ms, value = known(found.at_ms, found.values[quantity], span)
    return {
        "site": site.name,
        "device": device,
        "quantity": quantity,
        "unit": series.unit,
        "from_ms": span.start_ms,
        "to_ms": span.end_ms,
        "readings": int(at_ms.size),
        **_points(at_ms, value, span, pixels),
    }


def _points(
    at_ms: NDArray[np.int64], value: NDArray[np.float64], span: Span, width: int
) -> dict[str, Any]:
    if at_ms.size <= 2 * width:
        return {"chosen": "raw", "time_ms": at_ms.tolist(), "value": value.tolist()}
    buckets = thinned(at_ms, value, span=span, buckets=width)
    return {
        "chosen": "thinned",
        "bucket_ms": buckets.bucket_ms,
        "time_ms": buckets.at_ms.tolist(),
        "min": _nullable(buckets.low),
        "mean": _nullable(buckets.mean),
        "max": _nullable(buckets.high),
        "count": buckets.count.tolist(),
    }


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
