"""What a rule's value is made of, where it takes more than one look at the newest reading."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.daily.conversion import NightSums
from joulebook.core.history import MS_PER_DAY, Floats, Instants
from joulebook.core.losses.full_segments import SegmentSums

#: Days that are now, and days before them that they are compared with.
IDLE_NOW, IDLE_BEFORE = 14, 28
_IDLE_NOW_LEAST, _IDLE_BEFORE_LEAST = 8, 12
#: A shorter night tells too little (our choice). [h]
_NIGHT_LEAST_H = 1.0
TRIP_NOW, TRIP_BEFORE = 28, 112
_TRIP_NOW_LEAST, _TRIP_BEFORE_LEAST = 12, 30
#: Before it can be said that a battery does not get full any more it must have been often.
OFTEN_FULL_DAYS, _OFTEN_FULL = 60, 12
#: A quiet cell: neither nearly full nor nearly empty, with hardly any current. [V, A]
_QUIET_V, _QUIET_A = (3.20, 3.35), 5.0
_FEWEST_QUIET = 20
#: Median absolute deviations to a standard deviation, and a margin of two and a half of them.
_MARGIN = 2.5 * 1.4826


def idle_jump_w(nights: Sequence[NightSums | None]) -> float | None:
    """Return by how much the loss of the last 14 nights exceeds that of the 28 before. [W]

    At the same load, less what nights differ by anyway: 2.5 deviations of the newer median.

    Parameters
    ----------
    nights : sequence of NightSums or None
        Of local days in order, the last one yesterday; ``None`` where there is none.

    Notes
    -----
    A night's mean loss, DC in less AC out, moves with its mean load. How much so tell all pairs of
    nights on the same side: the median of their slopes, each counted by how far apart the loads
    are (after P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379). An offset of the current sensor that
    stays, and what is lost with the load, both sides share.
    """
    before = _loads_and_losses(nights[-IDLE_NOW - IDLE_BEFORE : -IDLE_NOW])
    now = _loads_and_losses(nights[-IDLE_NOW:])
    if now[0].size < _IDLE_NOW_LEAST or before[0].size < _IDLE_BEFORE_LEAST:
        return None
    slope = common_slope([before, now])
    usual, newer = (loss_w - slope * load_w for load_w, loss_w in (before, now))
    margin_w = _MARGIN * max(map(_deviation, (usual, newer))) / float(np.sqrt(newer.size))
    return float(np.median(newer) - np.median(usual)) - margin_w


def _loads_and_losses(nights: Sequence[NightSums | None]) -> tuple[Floats, Floats]:
    """Return the mean load and the mean loss of nights that are long enough. [W]"""
    use = [night for night in nights if night is not None and night.hours >= _NIGHT_LEAST_H]
    load_w = np.array([night.ac_wh / night.hours for night in use])
    loss_w = np.array([(night.dc_wh - night.ac_wh) / night.hours for night in use])
    return load_w, loss_w


def common_slope(sides: Sequence[tuple[Floats, Floats]]) -> float:
    """Return how much a value rises with another inside sides that may lie apart."""
    pairs = [np.triu_indices(x.size, 1) for x, _ in sides]
    run, rise = (
        np.concatenate(
            [side[axis][j] - side[axis][i] for side, (i, j) in zip(sides, pairs, strict=True)]
        )
        for axis in (0, 1)
    )
    run, rise = run[run != 0], rise[run != 0]
    if not run.size:
        return 0.0
    slope = rise / run
    order = np.argsort(slope)
    weight = np.cumsum(np.abs(run[order]))
    return float(slope[order][np.searchsorted(weight, weight[-1] / 2)])


def _deviation(values: Floats) -> float:
    """Return the median absolute deviation."""
    return float(np.median(np.abs(values - np.median(values))))


def round_trip_drop_percent(segments: SegmentSums, at_ms: int) -> float | None:
    """Return by how many per cent points the last four weeks gave back less than those before.

    Stretches from full to full, each by itself; medians, less 2.5 deviations of the newer one, so
    that neither scatter nor an offset of the sensor, which both share, counts.

    Parameters
    ----------
    at_ms : int
        Now. [ms, UTC epoch]
    """
    days = (at_ms - segments.to_ms) / MS_PER_DAY
    use = ~segments.broken & (segments.charge_wh > 0)
    ratio = 100 * segments.discharge_wh[use] / segments.charge_wh[use]
    now = ratio[(days[use] >= 0) & (days[use] < TRIP_NOW)]
    before = ratio[(days[use] >= TRIP_NOW) & (days[use] < TRIP_NOW + TRIP_BEFORE)]
    if now.size < _TRIP_NOW_LEAST or before.size < _TRIP_BEFORE_LEAST:
        return None
    usual, newer = float(np.median(before)), float(np.median(now))
    return usual - newer - _MARGIN * max(map(_deviation, (before, now))) / float(np.sqrt(now.size))


def days_since_full(full_ms: Instants, at_ms: int) -> float | None:
    """Return how many days ago a battery was last full that used to be full often.

    ``None`` where it never was often: then a reserve or small panels are its use.
    """
    past = full_ms[full_ms <= at_ms]
    if not past.size:
        return None
    last = int(past[-1])
    often = np.count_nonzero(past > last - OFTEN_FULL_DAYS * MS_PER_DAY)
    return None if often < _OFTEN_FULL else (at_ms - last) / MS_PER_DAY


def quiet_spread_mv(spread_v: Floats, cell_v: Floats, current_a: Floats) -> float | None:
    """Return the median spread of cells while hardly any current flows and none is near an end.

    Parameters
    ----------
    spread_v, cell_v, current_a : float64 (n,)
        Highest less lowest cell, the mean cell [V], and the current [A]; NaN where missing.
    """
    quiet = (np.abs(current_a) < _QUIET_A) & (cell_v > _QUIET_V[0]) & (cell_v < _QUIET_V[1])
    found = spread_v[quiet & ~np.isnan(spread_v)]
    return None if found.size < _FEWEST_QUIET else 1000 * float(np.median(found))
