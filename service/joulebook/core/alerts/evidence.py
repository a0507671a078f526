"""What a rule's value is made of, where it takes more than one look at the newest reading."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import MS_PER_DAY, Floats, Instants
from joulebook.core.losses.full_segments import SegmentSums

#: Days that are now, and days before them that they are compared with.
IDLE_NOW, IDLE_BEFORE = 7, 28
_IDLE_NOW_LEAST, _IDLE_BEFORE_LEAST = 4, 12
TRIP_NOW, TRIP_BEFORE = 28, 112
_TRIP_NOW_LEAST, _TRIP_BEFORE_LEAST = 12, 30
#: Before it can be said that a battery does not get full any more it must have been often.
OFTEN_FULL_DAYS, _OFTEN_FULL = 60, 12
#: A quiet cell: neither nearly full nor nearly empty, with hardly any current. [V, A]
_QUIET_V, _QUIET_A = (3.20, 3.35), 5.0
_FEWEST_QUIET = 20
#: Median absolute deviations to a standard deviation, and a margin of two and a half of them.
_MARGIN = 2.5 * 1.4826


def idle_jump_w(by_day: Sequence[float | None]) -> float | None:
    """Return by how much the idle draw of the last week exceeds that of the four weeks before.

    Less what nights differ by anyway: 2.5 deviations of the week's median. [W]

    Parameters
    ----------
    by_day : sequence of float or None
        Of local days in order, the last one yesterday; ``None`` where it was not given. [W]
    """
    now = [each for each in by_day[-IDLE_NOW:] if each is not None]
    before = [each for each in by_day[-IDLE_NOW - IDLE_BEFORE : -IDLE_NOW] if each is not None]
    if len(now) < _IDLE_NOW_LEAST or len(before) < _IDLE_BEFORE_LEAST:
        return None
    usual = float(np.median(before))
    spread = float(np.median(np.abs(np.array(before) - usual)))
    return float(np.median(now)) - usual - _MARGIN * spread / float(np.sqrt(len(now)))


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
    spread = max(float(np.median(np.abs(each - np.median(each)))) for each in (before, now))
    return usual - newer - _MARGIN * spread / float(np.sqrt(now.size))


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
