"""The battery's own energy counters beside what was integrated, over the same segments.

Most counters get their current from the same sensor, so they carry its offset as well and prove
nothing about the round trip. What they differ by from full to full is a sign of that offset.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats, Instants
from joulebook.core.losses.closing import USED
from joulebook.core.losses.full_segments import SegmentSums
from joulebook.core.losses.full_windows import FullRoundTrip
from joulebook.core.outlook.counter_fill import EnergyCounters

#: The counters' round trip may differ by so much before it is a sign (our choice).
ALARM_RATIO = 0.01
_ALARM_SIGMAS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterCheck:
    """What the counters say of a window's segments, beside what was integrated.

    Attributes
    ----------
    segments : int
        How many of those used have both counters, without a reset.
    counted_charge_wh, counted_discharge_wh : float
        By the counters. [Wh]
    charge_wh, discharge_wh : float
        As integrated over the same segments, offset removed. [Wh]
    counted_ratio : float
        The round trip that the counters alone would give.
    offset_a : float
        The offset that would explain what the two differ by, net. [A]
    alarm : bool
        Whether the counters' round trip is further off than its uncertainty explains.
    """

    segments: int
    counted_charge_wh: float
    counted_discharge_wh: float
    charge_wh: float
    discharge_wh: float
    counted_ratio: float
    offset_a: float
    alarm: bool


def counter_check(
    window: FullRoundTrip, sums: SegmentSums, counted: EnergyCounters
) -> CounterCheck | None:
    """Compare counters with integrals; ``None`` without a round trip or a segment of both.

    Parameters
    ----------
    window : FullRoundTrip
        Whose segments are compared.
    sums : SegmentSums
        Of all segments of the record.
    counted : EnergyCounters
        The counters.
    """
    if window.ratio.value is None or window.u is None:
        return None
    chosen = np.isin(sums.from_ms, window.segments.from_ms[window.segments.why == USED])
    first, last = sums.from_ms[chosen], sums.to_ms[chosen]
    rises = [
        _at(counted.at_ms, shown, last) - _at(counted.at_ms, shown, first)
        for shown in (counted.charge_wh, counted.discharge_wh)
    ]
    whole = (rises[0] > 0) & (rises[1] >= 0)  # false as well where a counter is missing
    if not whole.any():
        return None
    into, out = (float(np.sum(rise[whole])) for rise in rises)

    def total(values: Floats) -> float:
        return float(np.sum(values[chosen][whole]))

    # Moves with the offset that the window's own closing found, as the window's energies did.
    more_a = window.closing_a
    charging_vh, discharging_vh = total(sums.charging_vh), total(sums.discharging_vh)
    charge_wh = total(sums.charge_wh) - more_a * charging_vh
    discharge_wh = total(sums.discharge_wh) + more_a * discharging_vh
    net_wh = (into - out) - (charge_wh - discharge_wh)
    volts = (charging_vh + discharging_vh) / (total(sums.charging_h) + total(sums.discharging_h))
    off = abs(out / into - discharge_wh / charge_wh)
    return CounterCheck(
        segments=int(np.count_nonzero(whole)),
        counted_charge_wh=into,
        counted_discharge_wh=out,
        charge_wh=charge_wh,
        discharge_wh=discharge_wh,
        counted_ratio=out / into,
        offset_a=net_wh / (volts * total(sums.covered_h)),
        alarm=off > math.hypot(ALARM_RATIO, _ALARM_SIGMAS * window.u.total),
    )


def _at(at_ms: Instants, shown: Floats, instants: Instants) -> Floats:
    """Return what a counter showed at instants, on a line between its readings."""
    there = ~np.isnan(shown)
    if not there.any():
        return np.full(instants.size, np.nan)
    line: Floats = np.interp(instants, at_ms[there], shown[there])
    return line
