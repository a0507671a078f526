"""How long what is left lasts: at the load of now, and at that of a usual night."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import Curve, aligned
from joulebook.core.daily.conversion import DARK_PV_W
from joulebook.core.daily.energy import mean_over_time
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import Floats
from joulebook.core.loads.metering import LOADS_METHOD, ends, read_off, refused_as
from joulebook.core.spans import Span

#: The load of now is the mean of so long. [s]
NOW_S = 900.0
#: A usual night is told by so many at least.
FEWEST_NIGHTS = 5
#: A night counts where it was measured for so long. [h]
LEAST_NIGHT_H = 2.0
#: What is left where a reserve of a tenth is kept.
RESERVE_RATIO = 0.10
#: Where the inverter's own draw was not measured: DC to AC, its idle draw in it. 900 W out of
#: 967 W are 93 % (common practice, no source); less at small loads (our choice).
ASSUMED_RATIO, ASSUMED_LOW_RATIO, ASSUMED_HIGH_RATIO = 0.90, 0.80, 0.95
#: No hours are told for less than this. [W]
LEAST_DRAW_W = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLoss:
    """What the inverter takes for itself, measured at no load and at one load more. [W]"""

    idle_w: float
    loss_w: float
    load_w: float
    half_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NightLoad:
    """The load of the dark hours.

    Attributes
    ----------
    w : Estimate
        The median night's mean load; its interval is that of a night to come: from the 5th to the
        95th percentile of nights. [W]
    tenth_w, ninetieth_w : float or None
        Nine in ten nights take more, and nine in ten less. [W]
    nights : int
        How many it was told from.
    """

    w: Estimate
    tenth_w: float | None = None
    ninetieth_w: float | None = None
    nights: int = 0


def load_now(load: Curve, up_to_ms: int) -> Estimate:
    """Return the mean load of the last quarter of an hour. [W]"""
    mean, coverage = mean_over_time(load, Span(up_to_ms - round(NOW_S * 1000), up_to_ms))
    if mean is None:
        return refused(
            "the load was not measured in the last quarter of an hour", method=LOADS_METHOD
        )
    return read_off(max(mean, 0.0), coverage_ratio=coverage)


def night_load(load: Curve, pv: Curve | None, days: Sequence[Span]) -> NightLoad:
    """Return the load of dark hours, a night at a time, noon to noon.

    Parameters
    ----------
    load, pv : Curve
        Powers; ``None`` where the site has no panels, and every hour counts as dark. [W]
    days : sequence of Span
        The last local days.
    """
    lines = aligned([load] if pv is None else [load, pv])
    at_ms, joined = lines[0].at_ms, lines[0].joined
    if at_ms.size < 2:
        return _no_nights(0, 0.0)
    middle = (lines[0].value[1:] + lines[0].value[:-1]) / 2
    dark = joined.copy()
    if pv is not None:
        dark &= np.maximum(lines[1].value[1:], lines[1].value[:-1]) < DARK_PV_W
    held_h = np.diff(at_ms) / 3_600_000 * dark
    noons = np.array([(each.start_ms + each.end_ms) // 2 for each in days], dtype=np.int64)
    noons = noons[noons <= at_ms[-1]]  # a night that is not over would tell of its evening only
    edges = np.searchsorted(at_ms[:-1], noons)
    hours = _between(held_h, edges)
    energy = _between(held_h * middle, edges)
    counted = hours >= LEAST_NIGHT_H
    coverage = float(np.mean(counted)) if counted.size else 0.0
    nights = energy[counted] / hours[counted]
    if nights.size < FEWEST_NIGHTS:
        return _no_nights(nights.size, coverage)
    low, tenth, median, ninetieth, high = np.quantile(nights, (0.05, 0.1, 0.5, 0.9, 0.95)).tolist()
    return NightLoad(
        w=Estimate(value=median, low=low, high=high, coverage_ratio=coverage, method=LOADS_METHOD),
        tenth_w=tenth,
        ninetieth_w=ninetieth,
        nights=nights.size,
    )


def drawn_for(load: Estimate, own: OwnLoss | None) -> Estimate:
    """Return what the battery gives for a load: the load and the inverter's own loss. [W]

    Notes
    -----
    30 W at no load and 100 W at 1000 W: 65 W at 500 W, so the battery gives 565 W.
    """
    known = ends(load)
    if known is None:
        return refused_as(load)
    if own is None:
        ratios = (ASSUMED_RATIO, ASSUMED_HIGH_RATIO, ASSUMED_LOW_RATIO)
        value, low, high = (load_w / ratio for load_w, ratio in zip(known, ratios, strict=True))
    else:
        per_w = (own.loss_w - own.idle_w) / own.load_w
        value, low, high = (load_w * (1 + per_w) + own.idle_w for load_w in known)
        low = value - math.hypot(value - low, own.half_w)
        high = value + math.hypot(high - value, own.half_w)
    return Estimate(
        value=max(value, LEAST_DRAW_W),
        low=max(low, LEAST_DRAW_W),
        high=max(high, LEAST_DRAW_W),
        coverage_ratio=load.coverage_ratio,
        method=LOADS_METHOD,
    )


def hours_left(left_wh: Estimate, draw_w: Estimate, kept_wh: float) -> Estimate:
    """Return how long what is left lasts, without sun and without the grid. [h]

    Parameters
    ----------
    kept_wh : float
        What stays in the battery. [Wh]

    Notes
    -----
    5 kWh at 500 W last 10 h; with 1 kWh kept, 8 h.
    """
    energy, draw = ends(left_wh), ends(draw_w)
    if energy is None or draw is None:
        return refused_as(left_wh if energy is None else draw_w)
    (left, least_left, most_left), (drawn, least_drawn, most_drawn) = energy, draw
    if drawn <= LEAST_DRAW_W:
        return refused("hardly anything is drawn, so it would last very long", method=LOADS_METHOD)
    value = max(left - kept_wh, 0.0) / drawn
    shorter = math.hypot((left - least_left) / drawn, value * (1 - drawn / most_drawn))
    longer = math.hypot((most_left - left) / drawn, value * (drawn / least_drawn - 1))
    return Estimate(
        value=value,
        low=max(value - shorter, 0.0),
        high=value + longer,
        coverage_ratio=draw_w.coverage_ratio,
        method=LOADS_METHOD,
    )


def _between(values: Floats, edges: NDArray[np.intp]) -> Floats:
    """Return sums from each edge to the next."""
    running = np.concatenate([[0.0], np.cumsum(values)])
    sums: Floats = np.diff(running[edges])
    return sums


def _no_nights(nights: int, coverage_ratio: float) -> NightLoad:
    reason = f"{nights} dark nights were measured, and {FEWEST_NIGHTS} are needed"
    return NightLoad(
        w=refused(reason, method=LOADS_METHOD, coverage_ratio=coverage_ratio), nights=nights
    )
