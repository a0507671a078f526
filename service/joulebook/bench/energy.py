"""Charge and discharge by day, summed week by week while the numbers are still in the cache."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from joulebook.bench.plant import DAY_MS, Floats
from joulebook.bench.questions import MAX_GAP_MS, Answer

_HALF_MS_PER_HOUR = 7_200_000
#: Days, and twice the charge and discharge of lines that begin there. [W ms]
_Sums = tuple[NDArray[np.int64], Floats, Floats]


def energy_of_parts(parts: Iterable[tuple[NDArray[np.int64], Floats]]) -> Answer:
    """Return ``day``, ``charge_wh`` and ``discharge_wh`` as ``questions.Reader.energy`` says.

    Parameters
    ----------
    parts : iterable of (at_ms, power_w)
        In order of time, none empty; lines are drawn across their ends.
    """
    sums: list[_Sums] = []
    ends_ms, ends_w = [], []
    for at_ms, power_w in parts:
        ends_ms += [at_ms[0], at_ms[-1]]
        ends_w += [power_w[0], power_w[-1]]
        if at_ms.size > 1:
            sums.append(_sums(at_ms, power_w))
    # The lines from one part to the next: joining the parts would copy every reading.
    across_ms, across_w = np.array(ends_ms[1:-1]), np.array(ends_w[1:-1])
    step_ms = across_ms[1::2] - across_ms[::2]
    rise, fall = _lines(step_ms, across_w[::2], across_w[1::2], 0)
    sums.append((across_ms[::2] // DAY_MS, rise, fall))
    days, place = np.unique(np.concatenate([day for day, _, _ in sums]), return_inverse=True)
    charge = np.bincount(place, np.concatenate([up for _, up, _ in sums]))
    discharge = np.bincount(place, np.concatenate([down for _, _, down in sums]))
    return {
        "day": days,
        "charge_wh": charge / _HALF_MS_PER_HOUR,
        "discharge_wh": discharge / _HALF_MS_PER_HOUR,
    }


def _sums(at_ms: NDArray[np.int64], power_w: Floats) -> _Sums:
    """Return the sums of the lines between some readings, of each day once.

    First as if every line were as long as most are and none crossed zero, which are sums and no
    products; then what puts the few others right.
    """
    step_ms = at_ms[1:] - at_ms[:-1]
    usual_ms = int(step_ms[step_ms.size // 2])
    if usual_ms > MAX_GAP_MS:
        usual_ms = 0  # silence, not a line: then every line is one of the few
    days = np.arange(at_ms[0] // DAY_MS, at_ms[-2] // DAY_MS + 1)
    edges = np.append(at_ms[:-1].searchsorted(days * DAY_MS), step_ms.size)
    filled = edges[1:] > edges[:-1]
    days, first, last = days[filled], edges[:-1][filled], edges[1:][filled]
    # Up and down from their sum and difference: absolute values come faster than maxima.
    both, net = (
        2 * np.add.reduceat(values[:-1], first) - values[first] + values[last]
        for values in (np.abs(power_w), power_w)
    )
    negative = np.signbit(power_w)
    odd = ((step_ms != usual_ms) | (negative[:-1] != negative[1:])).nonzero()[0]
    place = first.searchsorted(odd, side="right") - 1
    rise, fall = (
        np.bincount(place, more, days.size)
        for more in _lines(step_ms[odd], power_w[odd], power_w[odd + 1], usual_ms)
    )
    half_ms = usual_ms / 2
    return days, (both + net) * half_ms + rise, (both - net) * half_ms + fall


def _lines(
    step_ms: NDArray[np.int64], from_w: Floats, to_w: Floats, counted_ms: int
) -> tuple[Floats, Floats]:
    """Return twice the charge and discharge that each line has beyond what was counted. [W ms]"""
    rise = np.maximum(from_w, 0) + np.maximum(to_w, 0)
    fall = rise - (from_w + to_w)
    crosses = (rise > 0) & (fall > 0)
    both = np.where(crosses, rise + fall, 1.0)
    held_ms = np.where(step_ms <= MAX_GAP_MS, step_ms, 0)
    up, down = (
        np.where(crosses, part * part / both, part) * held_ms - part * counted_ms
        for part in (rise, fall)
    )
    return up, down
