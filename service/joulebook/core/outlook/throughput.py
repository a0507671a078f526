"""What went through a battery over its whole record: ampere-hours, kilowatt-hours, full cycles.

Method `efc-2`, see ``docs/methods/efc.md``.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from joulebook.core.daily.efficiency import OFFSET_LIMIT_A
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.held import Held, amounts, held
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.outlook.counter_fill import EnergyCounters, Fill, fill_breaks
from joulebook.core.outlook.rest_current import without_noise

METHOD = "efc-2"

#: Mean voltage of a lithium iron phosphate cell at work (common practice, no source). [V]
MEAN_CELL_V = 3.31
#: Standard uncertainties: the sensor's gain, ±1 % uniform, and what is left of sampling (our
#: choice, tried on simulated homes). [of the amount]
GAIN_U_RATIO = 0.01 / math.sqrt(3)
SAMPLING_U_RATIO = 0.004
#: Of the offset: ±0.3 A uniform where nobody found it, and what is left where somebody did. [A]
UNKNOWN_OFFSET_U_A = OFFSET_LIMIT_A / math.sqrt(3)
KNOWN_OFFSET_U_A = 0.02

#: How much a day can differ from the usual day: for breaks that nothing fills. [ratio]
_DAY_SPREAD_RATIO = 0.5
_FULL_CYCLES_TO_FIND_VOLTS = 20
_NO_COUNTERS = EnergyCounters(
    at_ms=np.empty(0, np.int64), charge_wh=np.empty(0), discharge_wh=np.empty(0)
)

#: The sensor's reading at no current, at given instants. [A]
OffsetAt = Callable[[Instants], Floats]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThroughputCurve:
    """What went through by every instant of a record, since its first.

    Attributes
    ----------
    at_ms : int64 (n,)
        Instants with a current. [ms, UTC epoch]
    charge_ah, discharge_ah, charge_wh, discharge_wh : float64 (n,)
        In and out, each counted up from 0; a break that counters fill rises through. [Ah, Wh]
    in_h, out_h, rest_h : float
        Time with current in, with current out, and without. [h]
    filled_h, lost_h : float
        Breaks that the battery's own counters fill, and those that nothing fills. [h]
    fill_u_ah : float
        Standard uncertainty of what was filled in, both ways together. [Ah]
    rated_ah : float
        What the maker rates. [Ah]
    offset_removed : bool
        Whether the sensor's offset was known.
    """

    at_ms: Instants
    charge_ah: Floats
    discharge_ah: Floats
    charge_wh: Floats
    discharge_wh: Floats
    in_h: float
    out_h: float
    rest_h: float
    filled_h: float
    lost_h: float
    fill_u_ah: float
    rated_ah: float
    offset_removed: bool

    def efc_at(self, instants: Instants) -> Floats:
        """Return the full cycles by given instants, straight lines between readings.

        Before the first reading it is 0, after the last one what it was then.
        """
        through = self._by(instants, self.charge_ah) + self._by(instants, self.discharge_ah)
        return through / (2 * self.rated_ah)

    def discharge_wh_at(self, instants: Instants) -> Floats:
        """Return the energy given out by given instants, likewise. [Wh]"""
        return self._by(instants, self.discharge_wh)

    def _by(self, instants: Instants, amount: Floats) -> Floats:
        if not self.at_ms.size:
            return np.zeros(instants.shape)
        through: Floats = np.interp(instants, self.at_ms, amount)
        return through


@dataclass(frozen=True, slots=True, kw_only=True)
class Throughput:
    """A record's throughput.

    Attributes
    ----------
    efc : Estimate
        Equivalent full cycles on the rated charge.
    charge_ah, discharge_ah, charge_wh, discharge_wh : Estimate
        In and out. [Ah, Wh]
    filled_ratio : float
        Share of the record that only the battery's own counters saw.
    offset_removed : bool
        Whether the sensor's offset was known.
    """

    efc: Estimate
    charge_ah: Estimate
    discharge_ah: Estimate
    charge_wh: Estimate
    discharge_wh: Estimate
    filled_ratio: float
    offset_removed: bool


def throughput_curve(
    history: PackHistory,
    *,
    offset_at: OffsetAt | None = None,
    counters: EnergyCounters | None = None,
) -> ThroughputCurve:
    """Add up what went in and out, the offset removed, breaks filled from counters.

    Parameters
    ----------
    history : PackHistory
        A missing voltage counts as `MEAN_CELL_V` a cell; a missing current makes a longer step.
    offset_at : callable, optional
        What the sensor shows at no current; without it nothing is removed. [A]
    counters : EnergyCounters, optional
        The battery's own energy counters; without them breaks stay empty.

    Raises
    ------
    ValueError
        If the rated charge, the cells in series or the usual spacing are not above zero.
    """
    if not (history.rated_ah > 0 and history.cells > 0):
        raise ValueError("rated charge and cells in series must be above zero")
    there = ~np.isnan(history.current_a)
    at_ms, amps, volts = history.at_ms[there], history.current_a[there], history.voltage_v[there]
    if offset_at is not None:
        amps = amps - offset_at(at_ms)
    volts = np.where(np.isnan(volts), MEAN_CELL_V * history.cells, volts)
    stands = held(at_ms, step_s=history.step_s)
    amps = without_noise(at_ms, amps, stands.hours)
    known = _NO_COUNTERS if counters is None else counters
    charge, discharge = (
        _one_way(at_ms, np.maximum(flow, 0.0), volts, stands, history, known.at_ms, counter_wh)
        for flow, counter_wh in ((amps, known.charge_wh), (-amps, known.discharge_wh))
    )
    filled = charge.fill.filled & discharge.fill.filled
    return ThroughputCurve(
        at_ms=at_ms,
        charge_ah=_running(charge.ah + charge.fill.ah),
        discharge_ah=_running(discharge.ah + discharge.fill.ah),
        charge_wh=_running(charge.wh + charge.fill.wh),
        discharge_wh=_running(discharge.wh + discharge.fill.wh),
        in_h=float(np.sum(stands.hours[amps > 0])),
        out_h=float(np.sum(stands.hours[amps < 0])),
        rest_h=float(np.sum(stands.hours[amps == 0])),
        filled_h=float(np.sum(stands.lost_h[filled])),
        lost_h=float(np.sum(stands.lost_h[~filled])),
        fill_u_ah=math.hypot(charge.fill.u_ah, discharge.fill.u_ah),
        rated_ah=history.rated_ah,
        offset_removed=offset_at is not None,
    )


def throughput(curve: ThroughputCurve) -> Throughput:
    """Return the record's throughput with intervals.

    A break that nothing fills is not counted; it lowers the coverage, and the upper end of the
    interval allows for as much as usually goes through in as long a time.
    """
    measured_h = curve.in_h + curve.out_h + curve.rest_h
    whole_h = measured_h + curve.filled_h + curve.lost_h
    ends = [
        float(each[-1]) if each.size else 0.0
        for each in (curve.charge_ah, curve.discharge_ah, curve.charge_wh, curve.discharge_wh)
    ]
    through_ah = ends[0] + ends[1]
    fill_ratio = curve.fill_u_ah / through_ah if through_ah > 0 else 0.0
    seen_h = measured_h + curve.filled_h
    given = [
        _estimate(
            amount,
            u_ratio=math.hypot(GAIN_U_RATIO, SAMPLING_U_RATIO, fill_ratio),
            offset_u=_offset_u_ah(curve, side) / ah * amount if ah > 0 else 0.0,
            lost_ratio=curve.lost_h / seen_h if seen_h else 0.0,
            lost_h=curve.lost_h,
            coverage_ratio=seen_h / whole_h if whole_h else 0.0,
        )
        for amount, ah, side in (
            (through_ah / (2 * curve.rated_ah), through_ah, 0),
            (ends[0], ends[0], 1),
            (ends[1], ends[1], -1),
            (ends[2], ends[0], 1),
            (ends[3], ends[1], -1),
        )
    ]
    return Throughput(
        efc=given[0],
        charge_ah=given[1],
        discharge_ah=given[2],
        charge_wh=given[3],
        discharge_wh=given[4],
        filled_ratio=curve.filled_h / whole_h if whole_h else 0.0,
        offset_removed=curve.offset_removed,
    )


@dataclass(frozen=True, slots=True)
class _Way:
    """One direction: what was measured after each reading, and what fills the breaks."""

    ah: Floats
    wh: Floats
    fill: Fill


def _one_way(
    at_ms: Instants,
    flow_a: Floats,
    volts: Floats,
    stands: Held,
    history: PackHistory,
    counter_ms: Instants,
    counter_wh: Floats,
) -> _Way:
    ah, wh = amounts(flow_a, stands), amounts(flow_a * volts, stands)
    fill = fill_breaks(
        at_ms,
        stands,
        ah,
        wh,
        counter_ms=counter_ms,
        counter_wh=counter_wh,
        nominal_v=MEAN_CELL_V * history.cells,
        enough_ah=_FULL_CYCLES_TO_FIND_VOLTS * history.rated_ah,
    )
    return _Way(ah, wh, fill)


def _running(after: Floats) -> Floats:
    """Return what went through by each reading, from what went through after each.

    What the last reading stands for is added to it: the record's end counts whole.
    """
    if not after.size:
        return after
    by: Floats = np.concatenate([[0.0], np.cumsum(after[:-1])])
    by[-1] += after[-1]
    return by


def _offset_u_ah(curve: ThroughputCurve, side: int) -> float:
    """Return what the offset leaves: it adds to one side and takes from the other.

    Parameters
    ----------
    side : int
        1 for charge, -1 for discharge, 0 for both together.
    """
    hours = {0: curve.in_h - curve.out_h, 1: curve.in_h, -1: curve.out_h}[side]
    if curve.offset_removed:
        return KNOWN_OFFSET_U_A * abs(hours)
    # Without it a resting sensor can show more than `REST_A`, which then counts as a flow.
    return UNKNOWN_OFFSET_U_A * (abs(hours) + curve.rest_h)


def _estimate(
    amount: float,
    *,
    u_ratio: float,
    offset_u: float,
    lost_ratio: float,
    lost_h: float,
    coverage_ratio: float,
) -> Estimate:
    if not coverage_ratio:
        return refused("no current was measured", method=METHOD)
    half = K90 * math.hypot(u_ratio * amount, offset_u)
    days = max(lost_h / 24, 1.0)
    lost = lost_ratio * amount * (1 + K90 * _DAY_SPREAD_RATIO / math.sqrt(days))
    return Estimate(
        value=amount,
        low=max(amount - half, 0.0),
        high=amount + half + lost,
        coverage_ratio=coverage_ratio,
        method=METHOD,
    )
