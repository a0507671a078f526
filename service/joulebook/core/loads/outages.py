"""Outages: spans in which the grid's voltage was away, and what the house was given meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.checks.inputs import Readings
from joulebook.core.curves import Curve
from joulebook.core.daily.energy import amount_estimate, integrate_curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import Floats, Instants
from joulebook.core.loads.metering import LOADS_METHOD, VOLTMETER_LIMIT_RATIO, read_off
from joulebook.core.spans import Span

#: Below this share of what is usual the grid's voltage, or its frequency, is away.
AWAY_RATIO = 0.5
#: A load below this is off. [W]
OFF_W = 5.0
#: The load went on where it was on for so much of the time, and stopped where for so little.
_ON_RATIO, _STOPPED_RATIO = 0.9, 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A span without the grid's voltage.

    Attributes
    ----------
    span : Span
        From the first reading without it to the first with it again, or to the last reading.
    before_ms : int or None
        The last reading with it before. [ms, UTC epoch]
    last_ms : int
        The last reading without it. [ms, UTC epoch]
    over : bool
        Whether it came back.
    """

    span: Span
    before_ms: int | None
    last_ms: int
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """A span without the grid, and how the house came through.

    Attributes
    ----------
    away : Away
        When.
    length_s : Estimate
        Between the readings around both of its ends. [s]
    given_wh : Estimate
        Energy of the load meanwhile. [Wh]
    lowest_v, lowest_cell_v : Estimate
        Of the battery. [V]
    carried : ``yes``, ``in part``, ``no`` or ``unknown``
        Whether the load went on.
    on_ratio : float or None
        For how much of the readings it did.
    """

    away: Away
    length_s: Estimate
    given_wh: Estimate
    lowest_v: Estimate
    lowest_cell_v: Estimate
    carried: str
    on_ratio: float | None


def away_in(at_ms: Instants, level: Floats, usual: float) -> list[Away]:
    """Return the spans in which a grid's level was away.

    Parameters
    ----------
    at_ms : int64 (n,)
        Instants. [ms, UTC epoch]
    level : float64 (n,)
        The higher leg's voltage [V], or the frequency [Hz]; NaN where missing.
    usual : float
        What it usually is, in the same unit.
    """
    there = ~np.isnan(level)
    at_ms, away = at_ms[there], level[there] < AWAY_RATIO * usual
    edges = np.diff(away.astype(np.int8), prepend=0, append=0)
    found = []
    for first, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        over = bool(end < at_ms.size)
        last_ms = int(at_ms[end - 1])
        found.append(
            Away(
                span=Span(int(at_ms[first]), int(at_ms[end]) if over else last_ms),
                before_ms=int(at_ms[first - 1]) if first else None,
                last_ms=last_ms,
                over=over,
            )
        )
    return found


def outage(away: Away, load: Curve | None, voltage: Readings, cell_low: Readings) -> Outage:
    """Return how the house came through a span without the grid."""
    on_ratio = _on_ratio(away, load)
    return Outage(
        away=away,
        length_s=_length(away),
        given_wh=_given(away.span, load),
        lowest_v=_lowest(away.span, voltage, "the battery's voltage was not read meanwhile"),
        lowest_cell_v=_lowest(away.span, cell_low, "the lowest cell's voltage is not reported"),
        carried=_carried(on_ratio),
        on_ratio=on_ratio,
    )


def higher_leg(legs: Sequence[Floats]) -> Floats:
    """Return the higher of the legs' voltages, at instants that any of them was read at. [V]"""
    higher: Floats = np.fmax.reduce(list(legs))
    return higher


def _length(away: Away) -> Estimate:
    """Return the length, halfway between the readings around each end. [s]"""
    shortest = (away.last_ms - away.span.start_ms) / 1000
    began_ms = away.span.start_ms if away.before_ms is None else away.before_ms
    longest = (away.span.end_ms - began_ms) / 1000
    bounded = away.over and away.before_ms is not None
    return Estimate(
        value=(shortest + longest) / 2 if bounded else shortest,
        low=shortest,
        high=longest if bounded else None,
        coverage_ratio=1.0,
        method=LOADS_METHOD,
    )


def _given(span: Span, load: Curve | None) -> Estimate:
    if load is None:
        return refused("the load is not measured", method=LOADS_METHOD)
    used = integrate_curve(load, span)
    return amount_estimate(
        used.positive,
        used.positive_u,
        coverage_ratio=used.coverage_ratio,
        reason="the load was not measured meanwhile",
    )


def _on_ratio(away: Away, load: Curve | None) -> float | None:
    if load is None:
        return None
    inside = load.value[(load.at_ms >= away.span.start_ms) & (load.at_ms <= away.last_ms)]
    return float(np.mean(inside > OFF_W)) if inside.size else None


def _carried(on_ratio: float | None) -> str:
    if on_ratio is None:
        return "unknown"
    if on_ratio >= _ON_RATIO:
        return "yes"
    return "no" if on_ratio <= _STOPPED_RATIO else "in part"


def _lowest(span: Span, readings: Readings, reason: str) -> Estimate:
    when, value = readings
    inside = value[(when >= span.start_ms) & (when <= span.end_ms)]
    if not inside.size:
        return refused(reason, method=LOADS_METHOD)
    return read_off(float(inside.min()), limit_ratio=VOLTMETER_LIMIT_RATIO)
