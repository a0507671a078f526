"""Charge and energy counted along a whole record, and the breaks that nothing may cross."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import MS_PER_HOUR, Floats, PackHistory

#: A silence longer than this, or than so many usual steps, is a break (our choice).
BREAK_S = 600.0
BREAK_STEPS = 2.5
#: A step up to this many usual ones is a step, and not a lost reading.
_ONE_STEP = 1.01


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeCounter:
    """What the current sensor says went in, from the first reading on.

    Differences mean something only within one run.

    Attributes
    ----------
    net_ah, charged_ah, net_wh : float64 (n,)
        In less out, in alone [Ah], and in less out at the terminals' voltage. [Wh]
    current_a : float64 (n,)
        As read, without holes: what is missing lies on a line between its neighbours. [A]
    hours : float64 (n,)
        Since the first reading. [h]
    breaks : bool (n - 1,), or (0,) where n is 0
        Whether the current was unknown for too long between a reading and the next.
    run : int64 (n,)
        How many breaks came before: the same number is the same run.
    """

    net_ah: Floats
    charged_ah: Floats
    net_wh: Floats
    current_a: Floats
    hours: Floats
    breaks: NDArray[np.bool_]
    run: NDArray[np.int64]

    def without_offset_ah(self, offset_a: float) -> Floats:
        """Return the net charge as a sensor without this offset would have counted it. [Ah]"""
        return self.net_ah - offset_a * self.hours


def count_charge(history: PackHistory) -> ChargeCounter:
    """Count charge and energy along a record.

    A reading holds until the next. Where a few are lost, the time that nothing stands for takes
    the mean of the readings on both sides; where the current is unknown for more than
    `BREAK_S` and `BREAK_STEPS` usual steps, nothing is counted and a break is set.

    Raises
    ------
    ValueError
        If the usual step is not above zero.

    Notes
    -----
    20 A for a minute are 0.333 Ah. With readings each minute, one lost, 20 A before and 10 A
    after it: 20 A for the first minute and 15 A for the second, 0.583 Ah.
    """
    if not history.step_s > 0:
        raise ValueError(f"the usual step must be above zero, not {history.step_s} s")
    hours = (history.at_ms - history.at_ms[:1]) / MS_PER_HOUR
    at = np.flatnonzero(~np.isnan(history.current_a))
    if not at.size:
        return _nothing_known(hours)
    current_a = history.current_a
    if at.size == hours.size:
        net, charged, breaks = _counted(hours, current_a, history.step_s)
    else:
        net, charged, broken = _counted(hours[at], current_a[at], history.step_s)
        net, charged = np.interp(hours, hours[at], net), np.interp(hours, hours[at], charged)
        current_a = np.interp(hours, hours[at], current_a[at])
        # Before the first and after the last known current every step is a break.
        breaks = np.ones(hours.size - 1, dtype=np.bool_)
        breaks[at[0] : at[-1]] = np.repeat(broken, np.diff(at))
    return ChargeCounter(
        net_ah=net,
        charged_ah=charged,
        net_wh=_energy_wh(net, history.voltage_v),
        current_a=current_a,
        hours=hours,
        breaks=breaks,
        run=np.concatenate([[0], np.cumsum(breaks)]),
    )


def _counted(
    hours: Floats, current_a: Floats, step_s: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return net charge, charge that went in, and breaks, of readings without holes."""
    held_h = np.diff(hours)
    step_h = step_s / 3600
    broken = held_h > max(BREAK_S, BREAK_STEPS * step_s) / 3600
    charge = current_a[:-1] * held_h
    late = np.flatnonzero(held_h > _ONE_STEP * step_h)
    # What a reading stands for ends with its step; the rest lies between it and the next.
    rest_h = held_h[late] - step_h
    charge[late] += (current_a[late + 1] - current_a[late]) / 2 * rest_h
    charge[broken] = 0.0
    return _summed(charge), _summed(np.maximum(charge, 0.0)), broken


def _energy_wh(net_ah: Floats, voltage_v: Floats) -> Floats:
    """Return the energy that the counted charge carried, at the voltage it was read with."""
    charge = np.diff(net_ah)
    known = ~np.isnan(voltage_v)
    if not known.any():
        return np.full(net_ah.size, np.nan)
    if not known.all():
        at = np.flatnonzero(known)
        voltage_v = np.interp(np.arange(voltage_v.size), at, voltage_v[at])
    return _summed(charge * voltage_v[:-1])


def _summed(parts: Floats) -> Floats:
    total: Floats = np.empty(parts.size + 1)
    total[0] = 0.0
    np.cumsum(parts, out=total[1:])
    return total


def _nothing_known(hours: Floats) -> ChargeCounter:
    """Return the counter of a record that has no current at all."""
    nothing = np.zeros(hours.size)
    return ChargeCounter(
        net_ah=nothing,
        charged_ah=nothing,
        net_wh=nothing,
        current_a=nothing,
        hours=hours,
        breaks=np.ones(max(hours.size - 1, 0), dtype=np.bool_),
        run=np.arange(hours.size, dtype=np.int64),
    )
