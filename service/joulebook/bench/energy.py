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
    """Return days and twice the charge and discharge of the lines that begin there. [W ms]"""
    held_ms = np.diff(at_ms)
    if held_ms.max(initial=0) > MAX_GAP_MS:
        held_ms[held_ms > MAX_GAP_MS] = 0
    above = np.maximum(power_w, 0)
    up = above[:-1] + above[1:]
    down = up - (power_w[:-1] + power_w[1:])
    # Where a line crosses zero, both ends counted with all of its length: correct those few.
    crosses = np.flatnonzero(np.diff(np.signbit(power_w)))
    both = up[crosses] + down[crosses]
    real = both > 0
    crosses, both = crosses[real], both[real]
    up[crosses], down[crosses] = up[crosses] ** 2 / both, down[crosses] ** 2 / both
    up *= held_ms
    down *= held_ms
    days = np.arange(at_ms[0] // DAY_MS, at_ms[-2] // DAY_MS + 1)
    first = np.searchsorted(at_ms[:-1], days * DAY_MS)
    return (
        days.tolist(),
        np.add.reduceat(up, first).tolist(),
        np.add.reduceat(down, first).tolist(),
    )
