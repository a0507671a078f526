"""Charge and discharge by day, summed week by week while the numbers are still in the cache."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from joulebook.bench.plant import DAY_MS, Floats
from joulebook.bench.questions import MAX_GAP_MS, Answer

_HALF_MS_PER_HOUR = 7_200_000


def energy_of_parts(parts: Iterable[tuple[NDArray[np.int64], Floats]]) -> Answer:
    """Return ``day``, ``charge_wh`` and ``discharge_wh`` as ``questions.Reader.energy`` says.

    Parameters
    ----------
    parts : iterable of (at_ms, power_w)
        In order of time; lines are drawn across their ends.
    """
    sums: dict[int, list[float]] = {}
    before_ms, before_w = np.empty(0, np.int64), np.empty(0)
    for at_ms, power_w in parts:
        instants = np.concatenate((before_ms, at_ms))
        power = np.concatenate((before_w, power_w))
        before_ms, before_w = at_ms[-1:], power_w[-1:]
        if instants.size < 2:
            continue
        for day, charge, discharge in zip(*_sums(instants, power), strict=True):
            total = sums.setdefault(day, [0.0, 0.0])
            total[0] += charge
            total[1] += discharge
    charge, discharge = np.array(list(sums.values())).T / _HALF_MS_PER_HOUR
    return {"day": np.array(list(sums)), "charge_wh": charge, "discharge_wh": discharge}


def _sums(at_ms: NDArray[np.int64], power_w: Floats) -> tuple[list[int], list[float], list[float]]:
    """Return days and twice the charge and discharge of the lines that begin there. [W ms]

    First as if every line were as long as most are and none crossed zero, which are sums and no
    products; then the few others are put right one by one.
    """
    step_ms = np.diff(at_ms)
    usual_ms = int(step_ms[step_ms.size // 2])
    if usual_ms > MAX_GAP_MS:
        usual_ms = 0  # silence, not a line: then every line is one of the few
    above = np.maximum(power_w, 0)
    days = np.arange(at_ms[0] // DAY_MS, at_ms[-2] // DAY_MS + 1)
    edges = np.append(np.searchsorted(at_ms[:-1], days * DAY_MS), step_ms.size)
    filled = np.diff(edges) > 0
    days, first, last = days[filled], edges[:-1][filled], edges[1:][filled]
    up = 2 * np.add.reduceat(above[:-1], first) - above[first] + above[last]
    down = up - 2 * np.add.reduceat(power_w[:-1], first) + power_w[first] - power_w[last]
    negative = np.signbit(power_w)
    odd = np.flatnonzero((step_ms != usual_ms) | (negative[:-1] != negative[1:]))
    a, b = power_w[odd], power_w[odd + 1]
    rise = np.maximum(a, 0) + np.maximum(b, 0)
    fall = rise - (a + b)
    crosses = (rise > 0) & (fall > 0)
    both = np.where(crosses, rise + fall, 1.0)
    held_ms = np.where(step_ms[odd] <= MAX_GAP_MS, step_ms[odd], 0)
    place = np.searchsorted(first, odd, side="right") - 1
    sums = []
    for total, part in ((up, rise), (down, fall)):
        true = np.where(crosses, part * part / both, part) * held_ms
        more = np.bincount(place, true - part * usual_ms, days.size)
        sums.append((total * usual_ms + more).tolist())
    return days.tolist(), sums[0], sums[1]
