"""Days computed a stretch at a time: each device is read once for up to a week."""

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

import numpy as np

from joulebook.core.corrections import Correction, apply
from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.core.daily.metered import COUNTERS
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import Span, days_span, local_day
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.reading import first_readings, read_pieces
from joulebook.storage.records import Site
from joulebook.storage.series import series_of
from joulebook.summaries.results import encoded

_log = logging.getLogger(__name__)

#: Longest stretch that is computed and saved at once. [days]
STRETCH_DAYS = 31

#: What a day is computed of. Others are stored and shown, and take no part.
_USED = (
    *("power", "power_l1", "power_l2", "voltage", "current", "soc", "temperature"),
    *dict.fromkeys(counter for _, counter in COUNTERS.values()),
)


@dataclass(frozen=True, slots=True)
class Failed:
    """A day that could not be computed, and why; a bug of ours, its traceback is in the log."""

    day: date
    why: str


@dataclass(frozen=True, slots=True)
class Encoded:
    """A day's result as it is stored."""

    day: date
    method: str
    result_json: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Days of a site that follow one another, and how to compute them."""

    site: Site
    days: Sequence[date]
    max_gap_s: float


#: Of a stretch, in the order of its days.
Results = list[Encoded | Failed]


def stretches(days: Sequence[date], longest: int = STRETCH_DAYS) -> list[list[date]]:
    """Return the days in order, cut where one is not the next or a stretch would be too long."""
    cut: list[list[date]] = []
    for day in sorted(days):
        if cut and day - cut[-1][-1] == timedelta(days=1) and len(cut[-1]) < longest:
            cut[-1].append(day)
        else:
            cut.append([day])
    return cut


def series_names(connection: Connection, site: Site) -> dict[str, frozenset[str]]:
    """Return the quantities, numbers and flags, that each device of a site ever reported."""
    known: dict[str, set[str]] = {}
    for series in series_of(connection, site.id):
        if series.kind != "text":
            known.setdefault(series.device, set()).add(series.quantity)
    return {device: frozenset(names) for device, names in known.items()}


def compute_stretch(
    connection: Connection, site: Site, days: Sequence[date], *, max_gap_s: float
) -> Iterator[DayResult | Failed]:
    """Compute days that follow one another; one that fails does not stop the others.

    An ISO week is read at once: a month of arrays would not fit into a processor's cache, and a
    sealed week is one block.
    """
    site_series = series_names(connection, site)
    # Read after the marks: a correction that comes later marks its days once more.
    corrections = corrections_of(connection, site.id)
    for _, week in groupby(days, key=lambda day: day.isocalendar()[:2]):
        yield from _compute_read(
            connection, site, list(week), site_series, corrections, max_gap_s=max_gap_s
        )


def compute_encoded(connection: Connection, stretch: Stretch) -> Results:
    """Compute a stretch as :func:`compute_stretch` does, into what is stored."""
    computed = compute_stretch(connection, stretch.site, stretch.days, max_gap_s=stretch.max_gap_s)
    return [
        each if isinstance(each, Failed) else Encoded(each.date, each.method, encoded(each))
        for each in computed
    ]


def _compute_read(
    connection: Connection,
    site: Site,
    days: Sequence[date],
    site_series: dict[str, frozenset[str]],
    corrections: Sequence[Correction],
    *,
    max_gap_s: float,
) -> Iterator[DayResult | Failed]:
    whole = days_span(days[0], days[-1], site.zone)
    margin_ms = round(max_gap_s * 1000)
    devices = {
        device: read_corrected(connection, site, device, whole, corrections, margin_ms=margin_ms)
        for device, names in site_series.items()
        if names.intersection(_USED)
    }
    firsts_ms = first_readings(connection, site.id)
    for day in days:
        span = local_day(day, site.zone)
        wide = Span(span.start_ms - margin_ms, span.end_ms + margin_ms)
        # What a site gets later is not there yet: panels of next year leave this day as it is.
        there = {
            device: names
            for device, names in site_series.items()
            if firsts_ms.get(device, wide.start_ms) < wide.end_ms
        }
        try:
            yield compute_day(
                DayInputs(
                    day=day,
                    span=span,
                    devices={name: part_of(device, wide) for name, device in devices.items()},
                    site_series=there,
                    battery_ah=site.battery_ah,
                    battery_cells=site.battery_cells,
                    max_gap_s=max_gap_s,
                )
            )
        except Exception as error:  # noqa: BLE001 -- a bug of ours costs its day, not the others
            _log.exception("day %s of site %s could not be computed", day, site.name)
            yield Failed(day, f"{type(error).__name__}: {error}")


def read_corrected(
    connection: Connection,
    site: Site,
    device: str,
    span: Span,
    corrections: Sequence[Correction],
    *,
    margin_ms: int,
    quantities: Sequence[str] = _USED,
) -> list[DeviceArrays]:
    """Return the corrected readings of a device in pieces that follow one another."""
    pieces = read_pieces(
        connection, site.id, device, span, quantities=quantities, margin_ms=margin_ms
    )
    return [
        DeviceArrays(
            piece.at_ms,
            {
                quantity: apply(corrections, device, quantity, piece.at_ms, values)
                for quantity, values in piece.values.items()
            },
        )
        for piece in pieces
    ]


def part_of(pieces: Sequence[DeviceArrays], span: Span) -> DeviceArrays:
    """Return the readings of a span and one instant more; they share memory if they can."""
    parts = [_cut(piece, span) for piece in pieces]
    filled = [part for part in parts if part.at_ms.size] or parts[:1]
    if len(filled) == 1:  # most days: they do not begin or end a week
        return filled[0]
    return DeviceArrays(
        np.concatenate([part.at_ms for part in filled]),
        {name: np.concatenate([part.values[name] for part in filled]) for name in filled[0].values},
    )


def _cut(piece: DeviceArrays, span: Span) -> DeviceArrays:
    first, last = piece.at_ms.searchsorted((span.start_ms, span.end_ms + 1))
    return DeviceArrays(
        piece.at_ms[first:last],
        {name: value[first:last] for name, value in piece.values.items()},
    )
