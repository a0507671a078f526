"""What went through a battery while nobody read its current, told by its own energy counters.

Part of method `efc-2`, see ``docs/methods/efc.md``.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.counters import CounterRise, counter_rise
from joulebook.core.held import Held
from joulebook.core.history import Floats, Instants

#: The counter's own volts per ampere-hour is believed this near to the usual one. [ratio]
_LARGEST_TURN_RATIO = 0.1
#: Standard uncertainty of the usual volts, and of those found on this record. [ratio]
_USUAL_U_RATIO, _FOUND_U_RATIO = 0.03, 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyCounters:
    """The battery's own energy counters, read as often or as seldom as they were.

    Attributes
    ----------
    at_ms : int64 (m,)
        Strictly increasing. [ms, UTC epoch]
    charge_wh, discharge_wh : float64 (m,)
        In and out, counted up; NaN where missing. [Wh]
    """

    at_ms: Instants
    charge_wh: Floats
    discharge_wh: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """What breaks held, one entry for each reading: what follows it.

    Attributes
    ----------
    ah, wh : float64 (n,)
        Ampere-hours and watt-hours; 0 where no break follows, or nothing fills it.
    filled : bool (n,)
        Whether a break follows that was filled.
    u_ah : float
        Standard uncertainty of all of them together. [Ah]
    """

    ah: Floats
    wh: Floats
    filled: NDArray[np.bool_]
    u_ah: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Breaks between two readings of the counter, which may lie far outside of them."""

    first: int  # reading of the counter
    last: int
    breaks: list[int]  # readings of the pack


def fill_breaks(
    at_ms: Instants,
    stands: Held,
    ah: Floats,
    wh: Floats,
    *,
    counter_ms: Instants,
    counter_wh: Floats,
    nominal_v: float,
    enough_ah: float,
) -> Fill:
    """Return what a counter says of the breaks, one way.

    Parameters
    ----------
    at_ms : int64 (n,)
        Readings of the current. [ms, UTC epoch]
    stands : Held
        Of these.
    ah, wh : float64 (n,)
        What was measured between each and the next. [Ah, Wh]
    counter_ms, counter_wh : int64 and float64 (m,)
        The counter, NaN where missing. [ms, UTC epoch; Wh]
    nominal_v : float
        Turns counted energy into charge while the record cannot tell better. [V]
    enough_ah : float
        As much must have been measured beside the counter to find that voltage. [Ah]

    Notes
    -----
    Between the last reading of the counter before a break and the first one after it, the rise
    less what was measured there went through in the break. Breaks that share these readings
    are taken together and shared out by their length.
    """
    there = ~np.isnan(counter_wh)
    counter_ms, counter_wh = counter_ms[there], counter_wh[there]
    empty = Fill(
        ah=np.zeros(at_ms.size),
        wh=np.zeros(at_ms.size),
        filled=np.zeros(at_ms.size, np.bool_),
        u_ah=0.0,
    )
    stretches = _stretches(at_ms, stands, counter_ms)
    if not stretches:
        return empty
    counter = _Counter(counter_ms, counter_wh)
    volts, u_ratio = _volts(at_ms, ah, counter, stretches, nominal_v, enough_ah)
    done = 0
    for stretch in stretches:
        rise = counter.rise(stretch.first, stretch.last)
        if rise.lower_bound:
            continue  # it began anew: what it lost is unknown, so the break stays empty
        inside = slice(*np.searchsorted(at_ms, counter_ms[[stretch.first, stretch.last]]))
        share = stands.lost_h[stretch.breaks] / np.sum(stands.lost_h[stretch.breaks])
        empty.ah[stretch.breaks] = (rise.energy_wh / volts - np.sum(ah[inside])) * share
        empty.wh[stretch.breaks] = (rise.energy_wh - np.sum(wh[inside])) * share
        empty.filled[stretch.breaks] = True
        done += 1
    digits_ah = counter.resolution / math.sqrt(6) / volts * math.sqrt(done)
    return Fill(
        ah=empty.ah,
        wh=empty.wh,
        filled=empty.filled,
        u_ah=math.hypot(u_ratio * abs(float(np.sum(empty.ah))), digits_ah),
    )


class _Counter:
    """A counter and its own smallest step."""

    def __init__(self, at_ms: Instants, wh: Floats) -> None:
        self.at_ms, self.wh = at_ms, wh
        steps = np.diff(wh)
        smallest = float(np.min(steps, where=steps > 0, initial=np.inf))
        self.resolution = 0.0 if smallest == np.inf else smallest

    def rise(self, first: int, last: int) -> CounterRise:
        """Return its rise from one of its readings to another."""
        part = slice(first, last + 1)
        return counter_rise(self.at_ms[part], self.wh[part], resolution=self.resolution)


def _stretches(at_ms: Instants, stands: Held, counter_ms: Instants) -> list[_Stretch]:
    """Return the breaks that the counter has a reading on either side of."""
    found: list[_Stretch] = []
    breaks = np.flatnonzero(stands.broken)
    firsts = np.searchsorted(counter_ms, at_ms[breaks], side="right") - 1
    lasts = np.searchsorted(counter_ms, at_ms[breaks + 1])
    rows = zip(breaks.tolist(), firsts.tolist(), lasts.tolist(), strict=True)
    for place, first, last in rows:
        if first < 0 or last >= counter_ms.size:
            continue
        if found and first < found[-1].last:
            before = found.pop()
            found.append(_Stretch(before.first, last, [*before.breaks, place]))
        else:
            found.append(_Stretch(first, last, [place]))
    return found


def _volts(
    at_ms: Instants,
    ah: Floats,
    counter: _Counter,
    stretches: list[_Stretch],
    nominal_v: float,
    enough_ah: float,
) -> tuple[float, float]:
    """Return how many counted watt-hours an ampere-hour is, and how well that is known.

    Where counter and current were both there, they tell: the counter's own error of scale,
    and where in the circuit it sits, then cancel.
    """
    measured, counted = 0.0, 0.0
    starts = [0, *(stretch.last for stretch in stretches)]
    ends = [*(stretch.first for stretch in stretches), counter.at_ms.size - 1]
    for start, end in zip(starts, ends, strict=True):
        if end <= start:
            continue
        rise = counter.rise(start, end)
        if not rise.lower_bound:
            inside = slice(*np.searchsorted(at_ms, counter.at_ms[[start, end]]))
            measured += float(np.sum(ah[inside]))
            counted += rise.energy_wh
    if measured < enough_ah or abs(counted / measured / nominal_v - 1) > _LARGEST_TURN_RATIO:
        return nominal_v, _USUAL_U_RATIO
    return counted / measured, _FOUND_U_RATIO
