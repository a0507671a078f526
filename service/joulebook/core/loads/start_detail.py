"""One start, looked at closely: its peak, how long it lasted, how far the voltage fell."""

import math
from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.checks.inputs import Readings
from joulebook.core.curves import Curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import Floats
from joulebook.core.loads.metering import LOADS_METHOD, VOLTMETER_LIMIT_RATIO, read_off

#: Peak and sag are looked for so long after a start, or three readings if that is more; what was
#: before it is the median of as long.
PEAK_S = 60.0
#: How long a start stays high is looked at so far. [s]
LONGEST_S = 3600.0
#: From a smaller change of the battery's current no resistance is told. [A]
LEAST_CHANGE_A = 5.0
#: How far volts per ampere may be off, uniform within: voltage and current are not read at the very
#: same instant; and of readings further apart than so long, sun and state of charge have moved too.
_OHM_LIMIT_RATIO, _SLOW_OHM_LIMIT_RATIO, _SLOW_S = 0.05, 0.40, 15.0
_MAD = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class HighTime:
    """How long the load stayed above half of the step. [s]

    ``at_least`` tells that the readings end, or a silence begins, before it fell.
    """

    s: Estimate
    at_least: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """How the battery's voltage fell with a start.

    Attributes
    ----------
    v, ohm : Estimate
        By how much it fell [V], and over the change of current. [Ω]
    lowest_v, lowest_cell_v : Estimate
        The lowest readings meanwhile. [V]
    change_a : float or None
        How much more the battery gave. [A]
    """

    v: Estimate
    ohm: Estimate
    lowest_v: Estimate
    lowest_cell_v: Estimate
    change_a: float | None


def peak(line: Curve, at_ms: int, spacing_s: float) -> Estimate:
    """Return the highest reading of a start. [W]

    Its interval is open above: between two readings there can have been any peak.
    """
    until_ms = at_ms + 1000 * max(PEAK_S, 3 * spacing_s)
    after = line.value[(line.at_ms > at_ms) & (line.at_ms <= until_ms)]
    if not after.size:
        return refused("nothing was read after it", method=LOADS_METHOD)
    return open_above(read_off(float(after.max())))


def open_above(reading: Estimate) -> Estimate:
    """Return a reading as the least that was there: more can have been between two readings."""
    return replace(reading, high=None)


def spacing_s(line: Curve, at_ms: int) -> float:
    """Return the usual spacing of readings around an instant. [s]"""
    near = np.abs(line.at_ms - at_ms) <= 1000 * LONGEST_S
    steps = np.diff(line.at_ms[near])
    return float(np.median(steps)) / 1000 if steps.size else math.inf


def high_time(load: Curve, at_ms: int, step_w: float) -> HighTime:
    """Return how long the load stayed above half of a step that began after ``at_ms``.

    Notes
    -----
    Readings each 10 s, high from the second to the fourth: between 20 and 40 s.
    """
    row = int(np.searchsorted(load.at_ms, at_ms))
    half_w = load.value[row] + step_w / 2
    end_ms = load.at_ms[row] + 1000 * LONGEST_S
    high = row + 1 + int(load.value[row + 1] < half_w)
    place = high
    while (
        place < load.at_ms.size - 1
        and load.joined[place]
        and load.value[place] >= half_w
        and load.at_ms[place] < end_ms
    ):
        place += 1
    at_least = bool(load.value[place] >= half_w) or not load.joined[place - 1]
    last = place if load.value[place] >= half_w else place - 1
    seen_s = float(load.at_ms[last] - load.at_ms[high]) / 1000
    most_s = float(load.at_ms[place] - load.at_ms[row]) / 1000
    return HighTime(
        s=Estimate(
            value=seen_s if at_least else (seen_s + most_s) / 2,
            low=seen_s,
            high=None if at_least else most_s,
            coverage_ratio=1.0,
            method=LOADS_METHOD,
        ),
        at_least=at_least,
    )


def sag(
    at_ms: int, voltage: Readings, current: Readings, cell_low: Readings, *, every_s: float
) -> Sag:
    """Return how far the battery's voltage fell in the time after a start.

    Parameters
    ----------
    at_ms : int
        The last reading before it. [ms, UTC epoch]
    voltage, current, cell_low : tuple of instants and readings
        Of the battery, around the start; empty where there are none. [V, A, V]
    every_s : float
        How far apart readings are. [s]

    Notes
    -----
    52.6 V at 10 A out before, 52.0 V at 40 A out after: 0.6 V over 30 A, so 20 mΩ.
    """
    window_s = max(PEAK_S, 3 * every_s)
    volts_before, volts_after = _around(voltage, at_ms, window_s)
    if not volts_before.size or not volts_after.size:
        reason = "the battery's voltage was not read both before and after it"
        nothing = refused(reason, method=LOADS_METHOD)
        return Sag(v=nothing, ohm=nothing, lowest_v=nothing, lowest_cell_v=nothing, change_a=None)
    before_v, lowest_v = float(np.median(volts_before)), float(volts_after.min())
    own_u = _scatter(volts_before) * math.sqrt(1 + 1 / volts_before.size)
    fell = read_off(before_v - lowest_v, own_u=own_u)
    change_a = _change(current, at_ms, window_s)
    _, cells = _around(cell_low, at_ms, window_s)
    return Sag(
        v=fell,
        ohm=_ohm(before_v - lowest_v, own_u, change_a, every_s),
        lowest_v=read_off(lowest_v, limit_ratio=VOLTMETER_LIMIT_RATIO),
        lowest_cell_v=read_off(float(cells.min()), limit_ratio=VOLTMETER_LIMIT_RATIO)
        if cells.size
        else refused("the lowest cell's voltage is not reported", method=LOADS_METHOD),
        change_a=change_a,
    )


def _ohm(fell_v: float, own_u: float, change_a: float | None, every_s: float) -> Estimate:
    if change_a is None:
        return refused("the battery's current was not read", method=LOADS_METHOD)
    if change_a < LEAST_CHANGE_A:
        return refused(
            f"the battery gave {change_a:.1f} A more, and {LEAST_CHANGE_A:.0f} A are needed: sun "
            "or grid carried it",
            method=LOADS_METHOD,
        )
    limit = _SLOW_OHM_LIMIT_RATIO if every_s > _SLOW_S else _OHM_LIMIT_RATIO
    return read_off(fell_v / change_a, own_u=own_u / change_a, limit_ratio=limit)


def _change(current: Readings, at_ms: int, window_s: float) -> float | None:
    """Return how much more current the battery gave, positive where it gave more. [A]"""
    before, after = _around(current, at_ms, window_s)
    if not before.size or not after.size:
        return None
    return float(np.median(before) - after.min())


def _around(readings: Readings, at_ms: int, window_s: float) -> tuple[Floats, Floats]:
    """Return the values shortly before an instant, it included, and shortly after."""
    when, value = readings
    before = value[(when > at_ms - 1000 * window_s) & (when <= at_ms)]
    after = value[(when > at_ms) & (when <= at_ms + 1000 * window_s)]
    return before, after


def _scatter(values: Floats) -> float:
    """Return the standard deviation of readings, and no less than what their last digit hides."""
    around = np.abs(values - np.median(values))
    steps = np.diff(np.unique(values))
    digit = float(steps.min()) / math.sqrt(12) if steps.size else 0.0
    return max(_MAD * float(np.median(around)), digit)
