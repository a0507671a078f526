"""Low states of charge that the voltage still tells, one for each full charge at most.

Between 20 and 90 % the voltage of lithium iron phosphate says nearly nothing. Below that it falls
steeply, and quiet readings give the state of charge to a per cent or better.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.charge_counter import ChargeCounter
from joulebook.core.battery.full_anchors import FullCharges
from joulebook.core.battery.grouped import group_medians
from joulebook.core.battery.resistance import PackResistance, years_at
from joulebook.core.battery.rest_voltage import (
    SLOW_SHARE,
    rested_cell_v,
    slope_at,
    slow_mean,
    state_at,
)
from joulebook.core.history import Floats, Instants, PackHistory

#: The lowest point is looked for within this long after full. [h]
LONGEST_FROM_FULL_H = 96.0
#: A quiet reading: charging with no more than this [A], discharging at no more than this rate.
QUIET_CHARGE_A = 1.0
QUIET_RATE = 0.15
#: Where the resistance is only assumed, at no more than this rate.
QUIET_RATE_ASSUMED = 0.03
#: Quiet readings: this near to the lowest charge, of the rated, and to its time. [h]
NEAR_SHARE = 0.006
NEAR_H = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CellVoltmeter:
    """What turns the pack's readings into the voltage of one of its cells at rest.

    Attributes
    ----------
    history : PackHistory
    temperature_c, current_a, slow_a : float64 (n,)
        Without holes; the current without the sensor's offset, and its slow mean. [°C, A]
    resistance : PackResistance
        Measured or assumed.
    now_share, slow_share : float
        Of the resistance: what shows beyond it with the present current, and with the slow mean.
    zero_v : float
        What the voltage of a cell is too high. [V]
    """

    history: PackHistory
    temperature_c: Floats
    current_a: Floats
    slow_a: Floats
    resistance: PackResistance
    now_share: float = 0.0
    slow_share: float = SLOW_SHARE
    zero_v: float = 0.0

    def ohm(self, rows: NDArray[np.int64]) -> Floats:
        """Return the pack's resistance at these rows. [Ω]"""
        return self.resistance.at(self.temperature_c[rows], years_at(self.history, rows))

    def rested_v(self, rows: NDArray[np.int64]) -> Floats:
        """Return what a cell would rest at, for these rows. [V]"""
        cell_v = rested_cell_v(
            self.history.voltage_v[rows],
            self.current_a[rows],
            self.slow_a[rows],
            self.ohm(rows),
            self.history.cells,
            now_share=self.now_share,
            slow_share=self.slow_share,
        )
        return cell_v - self.zero_v


@dataclass(frozen=True, slots=True, kw_only=True)
class LowSearch:
    """The quiet readings around the lowest point after each full charge.

    Attributes
    ----------
    low_row : int64 (m,)
        The lowest quiet reading after each full charge, -1 where no reading was quiet.
    broken : bool (m,)
        Whether a break in the readings ended the search.
    most_ah, drawn_ah : float64 (m,)
        The most that was out since full, quiet or not, and what was at the lowest quiet reading;
        without the sensor's offset, 0 where there is none. [Ah]
    rows, night : int64 (k,)
        Quiet readings near to a lowest one, and after which full charge they were.
    """

    low_row: Instants
    broken: NDArray[np.bool_]
    most_ah: Floats
    drawn_ah: Floats
    rows: Instants
    night: Instants


@dataclass(frozen=True, slots=True, kw_only=True)
class LowPoints:
    """The lowest quiet point after each full charge; one row for each, in the same order.

    Attributes
    ----------
    low_row, broken, most_ah, drawn_ah
        As of the search.
    quiet : int64 (m,)
        How many quiet readings lie near to it.
    charge_ah, hour, cell_v, current_a, slow_a, ohm, low_c : float64 (m,)
        Medians of the quiet readings: the counter as read [Ah], hours since the record's start,
        and what their names say; NaN where there are none.
    """

    low_row: Instants
    broken: NDArray[np.bool_]
    most_ah: Floats
    drawn_ah: Floats
    quiet: NDArray[np.int64]
    charge_ah: Floats
    hour: Floats
    cell_v: Floats
    current_a: Floats
    slow_a: Floats
    ohm: Floats
    low_c: Floats


def cell_voltmeter(
    history: PackHistory,
    counter: ChargeCounter,
    temperature_c: Floats,
    resistance: PackResistance,
    offset_a: float,
) -> CellVoltmeter:
    """Return what turns readings into rest voltages, given the sensor's offset. [A]"""
    current_a = counter.current_a - offset_a
    return CellVoltmeter(
        history=history,
        temperature_c=temperature_c,
        current_a=current_a,
        slow_a=slow_mean(current_a, history.step_s),
        resistance=resistance,
    )


def search_lows(meter: CellVoltmeter, counter: ChargeCounter, full: FullCharges) -> LowSearch:
    """Find the lowest quiet point after each full charge, and the quiet readings around it.

    What was drawn with a heavy load after the last quiet reading does no harm: the anchor lies
    where the voltage was clear.
    """
    size = meter.history.at_ms.size
    begin, end, broken = _searched(counter, full, size)
    charge = np.append(counter.without_offset_ah(full.offset_a), np.inf)
    at_full = charge[full.last]
    most_ah = at_full - _lowest(charge, begin, end)
    charge[:-1][~_quiet(meter)] = np.inf
    lowest = _lowest(charge, begin, end)
    share_ah = NEAR_SHARE * meter.history.rated_ah
    rows = np.flatnonzero(charge[:-1] <= per_row(lowest + share_ah, begin, end, size))
    night = np.searchsorted(begin, rows, side="right") - 1
    low_row = np.full(begin.size, -1, dtype=np.int64)
    exact = charge[rows] == lowest[night]
    low_row[night[exact]] = rows[exact]
    near = np.abs(counter.hours[rows] - counter.hours[low_row[night]]) <= NEAR_H
    return LowSearch(
        low_row=low_row,
        broken=broken,
        most_ah=np.maximum(most_ah, 0.0),
        drawn_ah=np.maximum(at_full - lowest, 0.0),
        rows=rows[near],
        night=night[near],
    )


def low_points(meter: CellVoltmeter, counter: ChargeCounter, search: LowSearch) -> LowPoints:
    """Return the low points, put together from their quiet readings by medians."""
    rows, nights = search.rows, search.low_row.size

    def median(values: Floats) -> Floats:
        return group_medians(values, search.night, nights)

    return LowPoints(
        low_row=search.low_row,
        broken=search.broken,
        most_ah=search.most_ah,
        drawn_ah=search.drawn_ah,
        quiet=np.bincount(search.night, minlength=nights),
        charge_ah=median(counter.net_ah[rows]),
        hour=median(counter.hours[rows]),
        cell_v=median(meter.rested_v(rows)),
        current_a=median(meter.current_a[rows]),
        slow_a=median(meter.slow_a[rows]),
        ohm=median(meter.ohm(rows)),
        low_c=median(meter.temperature_c[rows]),
    )


def states_of(cell_v: Floats) -> tuple[Floats, Floats]:
    """Return the generic state of charge of cells at rest, and the curve's slope there."""
    states = state_at(cell_v)
    return states, slope_at(states)


def per_row(values: Floats, begin: Instants, end: Instants, size: int) -> Floats:
    """Return the value of the stretch that each row lies in, shape (size,); -inf outside.

    Parameters
    ----------
    values, begin, end : (m,)
        Of stretches in order, from a row up to, not including, another.
    """
    values = np.where(np.isfinite(values), values, -np.inf)
    parts = np.column_stack([np.full(begin.size, -np.inf), values]).ravel()
    edges = np.concatenate([[0], np.column_stack([begin, end]).ravel(), [size]])
    rows: Floats = np.repeat(np.append(parts, -np.inf), np.diff(edges))
    return rows


def _searched(
    counter: ChargeCounter, full: FullCharges, size: int
) -> tuple[Instants, Instants, NDArray[np.bool_]]:
    """Return the rows after each full charge that may hold its low point: from, up to, broken."""
    run_end = np.searchsorted(counter.run, counter.run[full.last], side="right")
    too_late = np.searchsorted(counter.hours, counter.hours[full.last] + LONGEST_FROM_FULL_H)
    next_full = np.append(full.first[1:], size)[: full.first.size]
    begin, whole = full.last + 1, np.minimum(next_full, too_late)
    end = np.maximum(np.minimum(whole, run_end), begin)
    return begin, end, run_end < whole


def _quiet(meter: CellVoltmeter) -> NDArray[np.bool_]:
    rate = QUIET_RATE if meter.resistance.steps else QUIET_RATE_ASSUMED
    quiet: NDArray[np.bool_] = (
        (meter.current_a < QUIET_CHARGE_A)
        & (meter.current_a > -rate * meter.history.rated_ah)
        & ~np.isnan(meter.history.voltage_v)
    )
    return quiet


def _lowest(charge: Floats, begin: Instants, end: Instants) -> Floats:
    """Return the least of each stretch of rows; infinite where it has none."""
    if not begin.size:
        return np.empty(0)
    bounds = np.column_stack([begin, end]).ravel()
    lowest: Floats = np.minimum.reduceat(charge, bounds)[::2]
    lowest[begin == end] = np.inf
    return lowest
