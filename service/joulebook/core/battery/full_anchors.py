"""When the battery was full, told by its voltage and by the current that no longer flows.

Full is where the charge voltage is held and the current has died away. On that steep end of the
curve a few millivolts are hardly any charge, so the state is known to about 0.2 %.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import FullToFull
from joulebook.core.battery.charge_counter import ChargeCounter
from joulebook.core.history import MS_PER_DAY, Floats, Instants, PackHistory

#: Nothing outside of these, at a small current, is near full. [V a cell]
LEAST_FULL_V, MOST_FULL_V = 3.37, 3.80
#: A small current, for finding the charge voltage; as a share of the rated charge, per hour.
_HELD_RATE = 0.05
#: Days with a held voltage that are needed, and that are looked at around each. [days]
LEAST_DAYS = 5
_DAYS_AROUND = 10
#: Days in the upper part of those around agree within this. [V a cell]
_SAME_LEVEL_V = 0.015
#: Where a charge ends at the charge voltage, it falls by no more when the current ends. [V a cell]
_FALLEN_V = 0.015
#: Full: this near to the charge voltage [V a cell], at no more than this rate, for this long. [s]
NEAR_V = 0.0075
FULL_RATE = 0.02
FULL_S = 120.0
#: The current has died away: below this rate and this. [A]
DONE_RATE = 0.003
DONE_A = 0.1
#: So much must leave before the battery can be called full anew; of the rated charge.
LEFT_SHARE = 0.03
#: Share of what went in that never comes out, for a first guess of the sensor's offset.
_LOST_SHARE = 0.002
#: Full charges in a row are compared when no more than this lies between them. [h]
LONGEST_FULL_TO_FULL_H = 14 * 24.0
#: A first guess of the offset takes so many closings, where there are as many.
_LEAST_CLOSINGS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeVoltage:
    """The voltage that the charger holds, day by day.

    Attributes
    ----------
    day : int64 (d,)
        Days since the epoch, UTC, on which the battery came near full.
    level_v : float64 (d,)
        Of the pack. [V]
    shift_v : float
        How much the later half of these days lies above the earlier. [V a cell]
    """

    day: Instants
    level_v: Floats
    shift_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FullCharges:
    """Full charges in order; rows of the record.

    Attributes
    ----------
    first, last : int64 (m,)
        Where the current had first died away, and where the battery was last full.
    offset_a : float
        First guess of what the sensor reads too much. [A]
    """

    first: Instants
    last: Instants
    offset_a: float


def charge_voltage(history: PackHistory) -> ChargeVoltage | None:
    """Return the voltage that the charger holds; ``None`` where the battery was hardly ever full.

    Each day's level is the highest voltage at a small current. A day on which the voltage was
    clearly higher at a large current is none: there charging ended before the battery was full,
    and the voltage only fell past such a level. Around each day, levels near to the upper ones
    are averaged by their median, so that a battery that did not get full on some days, and an
    owner who once changed the voltage, both do no harm.
    """
    near = _near_full(history)
    if not near.size:
        return None
    day_of = _days(history.at_ms[near])
    starts = np.flatnonzero(np.diff(day_of, prepend=day_of[0] - 1))
    highest = np.maximum.reduceat(history.voltage_v[near], starts)
    held = _highest(history, day_of[starts]) - highest <= _FALLEN_V * history.cells
    day, highest = day_of[starts][held], highest[held]
    if day.size < LEAST_DAYS:
        return None
    level = _running_level(highest, _SAME_LEVEL_V * history.cells)
    half = day.size // 2
    shift = float(np.median(level[half:]) - np.median(level[:half])) / history.cells
    return ChargeVoltage(day=day, level_v=level, shift_v=shift)


def full_charges(history: PackHistory, counter: ChargeCounter, held: ChargeVoltage) -> FullCharges:
    """Return the full charges of a record.

    The sensor's offset moves the current that counts as none, so it is guessed first, from full
    charges that are taken less strictly, and everything is then looked for again.
    """
    near = _near_full(history)
    day_of = _days(history.at_ms[near])
    place = np.minimum(np.searchsorted(held.day, day_of), held.day.size - 1)
    level = np.where(held.day[place] == day_of, held.level_v[place], np.inf)
    near = near[history.voltage_v[near] >= level - NEAR_V * history.cells]
    loosely_a = FULL_RATE * history.rated_ah
    done_a = DONE_RATE * history.rated_ah + DONE_A
    offset_a = 0.0
    for limit_a in (loosely_a, done_a):
        found = _episodes(history, counter, near, offset_a, limit_a)
        offset_a = _first_offset(history, counter, found, offset_a)
    return _episodes(history, counter, near, offset_a, done_a)


def no_full_charges() -> FullCharges:
    """Return what is known of a battery that was never full: nothing."""
    nothing = np.empty(0, dtype=np.int64)
    return FullCharges(first=nothing, last=nothing, offset_a=0.0)


def full_to_full(
    history: PackHistory, counter: ChargeCounter, full: FullCharges, temperature_c: Floats
) -> FullToFull:
    """Return the balances from the end of each full charge to the end of the next."""
    start, end = full.last[:-1], full.last[1:]
    hours = counter.hours[end] - counter.hours[start]
    whole = (counter.run[end] == counter.run[start]) & (hours <= LONGEST_FULL_TO_FULL_H)
    start, end, hours = start[whole], end[whole], hours[whole]
    return FullToFull(
        from_ms=history.at_ms[start],
        to_ms=history.at_ms[end],
        hours=hours,
        change_ah=counter.net_ah[end] - counter.net_ah[start],
        charged_ah=counter.charged_ah[end] - counter.charged_ah[start],
        from_c=temperature_c[start],
        to_c=temperature_c[end],
    )


def _near_full(history: PackHistory) -> NDArray[np.int64]:
    """Return the rows at a high voltage and a small current."""
    volts, cells = history.voltage_v, history.cells
    high = np.flatnonzero((volts >= LEAST_FULL_V * cells) & (volts <= MOST_FULL_V * cells))
    small = np.abs(history.current_a[high]) <= _HELD_RATE * history.rated_ah
    return high[small]


def _days(at_ms: Instants) -> Instants:
    """Return days since the epoch, UTC."""
    days: Instants = at_ms // int(MS_PER_DAY)
    return days


def _highest(history: PackHistory, day: Instants) -> Floats:
    """Return the highest voltage of these days that two readings in a row had, at any current."""
    edges = np.column_stack([day, day + 1]).ravel() * int(MS_PER_DAY)
    rows = np.searchsorted(history.at_ms, edges)
    twice = np.minimum(history.voltage_v, np.append(history.voltage_v[1:], np.nan))
    highest: Floats = np.fmax.reduceat(np.append(twice, np.nan), rows)[::2]
    return np.nan_to_num(highest)


def _running_level(highest: Floats, same_v: float) -> Floats:
    """Return the median of the upper levels among the days around each day."""
    width = min(2 * _DAYS_AROUND + 1, highest.size)
    around = np.lib.stride_tricks.sliding_window_view(highest, width)
    upper = np.quantile(around, 0.8, axis=1, method="lower")[:, None]
    levels = np.nanmedian(np.where(np.abs(around - upper) <= same_v, around, np.nan), axis=1)
    # At the ends of the record the window cannot be centred: the nearest one serves.
    centre = np.clip(np.arange(highest.size) - width // 2, 0, levels.size - 1)
    running: Floats = levels[centre]
    return running


def _episodes(
    history: PackHistory,
    counter: ChargeCounter,
    near: NDArray[np.int64],
    offset_a: float,
    done_a: float,
) -> FullCharges:
    """Return full charges, given the rows near the charge voltage and what counts as none."""
    current = np.abs(history.current_a[near] - offset_a)
    near, current = _held_long_enough(
        near[current <= FULL_RATE * history.rated_ah],
        current[current <= FULL_RATE * history.rated_ah],
        history.step_s,
    )
    if not near.size:
        return replace(no_full_charges(), offset_a=offset_a)
    charge = counter.without_offset_ah(offset_a)
    lowest = np.minimum.reduceat(charge, near)
    apart = (charge[near[:-1]] - lowest[:-1] >= LEFT_SHARE * history.rated_ah) | (
        counter.run[near[1:]] != counter.run[near[:-1]]
    )
    starts = np.concatenate([[0], np.flatnonzero(apart) + 1])
    ends = np.append(starts[1:], near.size)
    done = np.append(np.flatnonzero(current <= done_a), near.size)
    first = done[np.searchsorted(done, starts)]
    complete = first < ends
    return FullCharges(
        first=near[first[complete]],
        last=near[ends[complete] - 1],
        offset_a=offset_a,
    )


def _held_long_enough(
    rows: NDArray[np.int64], current: Floats, step_s: float
) -> tuple[NDArray[np.int64], Floats]:
    """Keep rows that follow each other for `FULL_S`; of slow logging, any."""
    least = max(round(FULL_S / step_s), 1)
    starts = np.flatnonzero(np.diff(rows, prepend=-2) != 1)
    lengths = np.diff(np.append(starts, rows.size))
    kept = np.repeat(lengths >= least, lengths)
    return rows[kept], current[kept]


def _first_offset(
    history: PackHistory, counter: ChargeCounter, full: FullCharges, before_a: float
) -> float:
    """Guess the sensor's offset: what seems to be gained from one full charge to the next."""
    closing = full_to_full(history, counter, full, counter.hours)
    if closing.hours.size < _LEAST_CLOSINGS:
        return before_a
    gained = closing.change_ah - _LOST_SHARE * closing.charged_ah
    return float(np.median(gained / closing.hours))
