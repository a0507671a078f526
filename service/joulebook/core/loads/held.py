"""The energy that is left in the battery: by what was drawn since it was full, and by its claim."""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.capacity import UNSEEN_U_RATIO
from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.battery.full_anchors import charge_voltage, full_charges
from joulebook.core.battery.rest_voltage import FULL_STATE
from joulebook.core.daily.efficiency import NOMINAL_CELL_V, OFFSET_LIMIT_A
from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import PackHistory
from joulebook.core.loads.metering import LOADS_METHOD, ends, refused_as
from joulebook.core.losses.full_segments import SensorOffset

#: Of what the maker rates this much can be there where nobody measured: from the floor that
#: warranties leave open (common practice, no source) to a little more than rated (our choice).
RATED_LOW_RATIO, RATED_HIGH_RATIO = 0.6, 1.05
#: How far a battery's own state of charge may be off where nothing is known of it (our choice).
CLAIM_HALF_RATIO = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Usable:
    """What the battery holds from full to empty.

    Attributes
    ----------
    wh : Estimate
        [Wh]
    ah : float or None
        [Ah]
    measured : bool
        Whether that was measured; else it is what the maker rates.
    """

    wh: Estimate
    ah: float | None
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceFull:
    """What left the battery since it was last full, by the meter at its terminals.

    Attributes
    ----------
    drawn_ah : Estimate
        Out less in, the sensor's offset removed; below zero where charging went on. [Ah]
    full_ms : int or None
        When it was last full. [ms, UTC epoch]
    hours : float
        How long ago that is. [h]
    """

    drawn_ah: Estimate
    full_ms: int | None = None
    hours: float = 0.0


def usable(
    measured_wh: Estimate | None,
    measured_ah: float | None,
    *,
    rated_ah: float | None,
    cells: int | None,
) -> Usable:
    """Return what the battery holds: measured if that is given, and else as rated.

    Notes
    -----
    280 Ah of 16 cells at 3.2 V are 14336 Wh.
    """
    if measured_wh is not None and measured_wh.value is not None:
        return Usable(wh=measured_wh, ah=measured_ah, measured=True)
    if rated_ah is None or cells is None:
        reason = "the battery's rated charge and cells in series were not entered"
        return Usable(wh=refused(reason, method=LOADS_METHOD), ah=None, measured=False)
    rated_wh = rated_ah * cells * NOMINAL_CELL_V
    wh = Estimate(
        value=rated_wh,
        low=RATED_LOW_RATIO * rated_wh,
        high=RATED_HIGH_RATIO * rated_wh,
        coverage_ratio=0.0,
        method=LOADS_METHOD,
    )
    return Usable(wh=wh, ah=rated_ah, measured=False)


def since_full(history: PackHistory, offset: SensorOffset | None) -> SinceFull:
    """Return what was drawn since the last full charge, up to the end of the readings.

    Parameters
    ----------
    history : PackHistory
        The last weeks.
    offset : SensorOffset or None
        Of the current sensor, from the whole record; ``None`` where it is not known, and the full
        charges of these weeks, or an assumed limit, have to do.
    """
    held = charge_voltage(history)
    if held is None:
        return untold("the battery was full on fewer than 5 of the last days")
    counter = count_charge(history)
    full = full_charges(history, counter, held)
    if not full.last.size:
        return untold("no full charge was found in the last days")
    row, last = int(full.last[-1]), int(np.flatnonzero(~np.isnan(history.current_a))[-1])
    if counter.run[row] != counter.run[last]:
        return untold("the current was not measured for too long since the last full charge")
    hours = float(counter.hours[last] - counter.hours[row])
    zero_a, zero_u = _offset_at(offset, int(history.at_ms[last]), full.offset_a)
    # Where the charger leaves off, full is nearly full, and not every time equally so.
    lacking = (1 - FULL_STATE) * history.rated_ah
    drawn = lacking + float(counter.net_ah[row] - counter.net_ah[last]) + zero_a * hours
    moved = float(np.sum(np.abs(np.diff(counter.net_ah[row : last + 1]))))
    u = math.hypot(
        zero_u * hours,
        METER_LIMIT_RATIO / math.sqrt(3) * moved,
        UNSEEN_U_RATIO * history.rated_ah,
    )
    return SinceFull(
        drawn_ah=Estimate(
            value=drawn,
            low=drawn - K90 * u,
            high=drawn + K90 * u,
            coverage_ratio=1.0,
            method=LOADS_METHOD,
        ),
        full_ms=int(history.at_ms[row]),
        hours=hours,
    )


def left_since_full(holds: Usable, since: SinceFull) -> Estimate:
    """Return the energy left: what the battery holds, less the share that was drawn. [Wh]

    A share of the charge is taken for the same share of the energy: the voltage hardly changes.

    Notes
    -----
    Of 200 Ah and 10 kWh, with 50 Ah drawn, 7.5 kWh are left.
    """
    drawn = ends(since.drawn_ah)
    if holds.wh.value is None or drawn is None or holds.ah is None:
        return refused_as(holds.wh if holds.wh.value is None else since.drawn_ah)
    drawn_ah, least_ah, _ = drawn
    # What was drawn is known in ampere-hours: all that the whole is off by, the rest is off by.
    return _share_of(
        holds.wh, 1 - drawn_ah / holds.ah, (drawn_ah - least_ah) / holds.ah, of_whole=1.0
    )


def left_by_claim(holds: Usable, soc_ratio: float | None) -> Estimate:
    """Return the energy left if the battery's own state of charge were right. [Wh]"""
    if holds.wh.value is None:
        return refused_as(holds.wh)
    if soc_ratio is None:
        return refused("the battery reports no state of charge", method=LOADS_METHOD)
    return _share_of(holds.wh, soc_ratio, CLAIM_HALF_RATIO, of_whole=soc_ratio)


def _share_of(wh: Estimate, share: float, half_share: float, *, of_whole: float) -> Estimate:
    """Return a share of what the battery holds, between empty and full."""
    known = ends(wh)
    assert known is not None  # both callers have looked
    whole, least, most = known
    value = min(max(share, 0.0), 1.0) * whole
    low = value - math.hypot(of_whole * (whole - least), half_share * whole)
    high = value + math.hypot(of_whole * (most - whole), half_share * whole)
    return Estimate(
        value=value,
        low=max(low, 0.0),
        high=max(min(high, most), value),
        coverage_ratio=wh.coverage_ratio,
        method=LOADS_METHOD,
    )


def _offset_at(offset: SensorOffset | None, at_ms: int, guessed_a: float) -> tuple[float, float]:
    """Return the sensor's offset and its standard uncertainty. [A]"""
    if offset is None:
        return guessed_a, OFFSET_LIMIT_A / math.sqrt(3)
    at = np.array([at_ms])
    return float(offset.at(at)[0]), float(np.interp(at_ms, offset.at_ms, offset.u_a))


def untold(reason: str) -> SinceFull:
    """Return that it is not known, and why."""
    return SinceFull(drawn_ah=refused(reason, method=LOADS_METHOD))
