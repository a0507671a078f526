"""What planning rests on: a site's measured year, and its equipment as measured."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.money.prices import prices_of
from joulebook.core.money.saved import Passed
from joulebook.core.planning.dispatch import Storage
from joulebook.core.planning.measured import (
    Equipment,
    MeasuredTime,
    measured_time,
    whole_quarters,
)
from joulebook.core.planning.plan import Plan, plan_of
from joulebook.core.spans import Span, date_of, local_clock, local_day
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document, dates_of
from joulebook.summaries.priced_time import PricedTime, last_year, passed_of

#: Of a cell of this kind, on a discharge; only turns ampere-hours into watt-hours. [V]
_CELL_V = 3.2
#: What comes back of a battery where that was not measured, with its interval. Our choice.
_ASSUMED_ROUND_TRIP = (0.95, 0.90, 0.98)
#: The most that a battery was seen to move: of all quarter hours, but for one in a thousand.
_MOST = 0.999


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """A battery as it was measured.

    Attributes
    ----------
    capacity_wh : float
        All that it holds, the reserve too. [Wh]
    charge_w, discharge_w : float
        The most that it takes and gives: what the inverter is rated for, or more if more was
        seen. [W]
    round_trip : tuple of float
        What comes back, and its 90 % interval. [ratio]
    words : tuple of str
        Where each of these comes from.
    """

    capacity_wh: float
    charge_w: float
    discharge_w: float
    round_trip: tuple[float, float, float]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanGround:
    """What planning rests on.

    Attributes
    ----------
    time : MeasuredTime or None
        ``None`` for a site that cannot be planned for, since grid or load are not metered.
    minute, month : int64 arrays, shape (n,)
        The local time of day [min] and month of each quarter hour.
    month_index : int64 array, shape (n,)
        Calendar months, counted from year 0: year * 12 + month - 1.
    passed : Passed
        What the inverter passes on.
    battery : Battery or None
        ``None`` for a site without, or of whose battery nothing is known.
    has_panels : bool
        Whether there are any.
    currency : str or None
        ``None`` without a tariff.
    window : dict
        ``from`` and ``to``, local dates.
    """

    time: MeasuredTime | None
    minute: NDArray[np.int64]
    month: NDArray[np.int64]
    month_index: NDArray[np.int64]
    passed: Passed
    battery: Battery | None
    has_panels: bool
    currency: str | None
    window: Document


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A change to plan for.

    Attributes
    ----------
    more_w : float
        What more is used in the hours named. [W]
    more_wh_a_day : float
        What more is used a day, spread evenly over those hours. [Wh]
    from_minute, to_minute : int
        Those hours, by the clock; over midnight where they end before they begin. [min]
    first_month, last_month : int
        In these months, 1 to 12; over New Year where they end before they begin.
    pv_scale : float
        What the panels would give, of what they gave. [ratio]
    capacity_wh, charge_w, discharge_w : float
        Of the battery that would be there, the reserve too. [Wh, W]
    round_trip : tuple of float
        What would come back of it, and its interval. [ratio]
    reserve_ratio : float
        What stays in either battery. [ratio]
    """

    more_w: float = 0.0
    more_wh_a_day: float = 0.0
    from_minute: int = 0
    to_minute: int = 1440
    first_month: int = 1
    last_month: int = 12
    pv_scale: float = 1.0
    capacity_wh: float = 0.0
    charge_w: float = 0.0
    discharge_w: float = 0.0
    round_trip: tuple[float, float, float] = field(default=_ASSUMED_ROUND_TRIP)
    reserve_ratio: float = 0.1


def plan_ground(
    database: Database, site: Site, *, efficiency: Document, wear: Document, now_ms: int
) -> PlanGround:
    """Return what planning rests on.

    Parameters
    ----------
    efficiency, wear : Document
        The site's reports: round trip, conversion and capacity.
    now_ms : int
        Now. [ms, UTC epoch]
    """
    year = last_year(site, now_ms=now_ms)
    span = Span(year.start_ms, year.end_ms // QUARTER_MS * QUARTER_MS)
    time = PricedTime(database, site, span)
    start_ms = time.energies.start_ms
    day, minute = local_clock(start_ms, site.zone)
    months = day.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return PlanGround(
        time=measured_time(time.energies.energy, prices_of(time.tariffs, start_ms, site.zone)),
        minute=minute,
        month=months % 12 + 1,
        month_index=months + 1970 * 12,
        passed=passed_of(efficiency),
        battery=_battery(time, site, efficiency, wear),
        has_panels=time.energies.energy.pv is not None,
        currency=time.tariffs[-1].currency if time.tariffs else None,
        window=dates_of(_known(time, span, site), site.zone),
    )


def _known(time: PricedTime, span: Span, site: Site) -> Span:
    """Return the span from the first day on which the grid was measured."""
    grid = time.energies.energy.grid
    if grid is None or not grid.measured_ratio.any():
        return span
    first_ms = int(time.energies.start_ms[np.argmax(grid.measured_ratio > 0)])
    return Span(local_day(date_of(first_ms, site.zone), site.zone).start_ms, span.end_ms)


def planned(ground: PlanGround, asked: Asked) -> Plan | None:
    """Return what a change would have done; ``None`` where grid or load are not metered."""
    if ground.time is None:
        return None
    there = ground.battery
    present = Equipment(
        passed_ratio=ground.passed.ratio,
        storage=None
        if there is None
        else Storage(
            usable_wh=there.capacity_wh * (1 - asked.reserve_ratio),
            charge_w=there.charge_w,
            discharge_w=there.discharge_w,
            round_trip_ratio=there.round_trip[0],
        ),
    )
    changed = Equipment(
        passed_ratio=ground.passed.ratio,
        storage=None
        if asked.capacity_wh <= 0
        else Storage(
            usable_wh=asked.capacity_wh * (1 - asked.reserve_ratio),
            charge_w=asked.charge_w,
            discharge_w=asked.discharge_w,
            round_trip_ratio=asked.round_trip[0],
        ),
        round_trip=asked.round_trip[1:],
    )
    return plan_of(
        ground.time,
        present,
        changed=changed,
        pv_scale=asked.pv_scale,
        more_load_wh=more_load_wh(ground, asked),
    )


def more_load_wh(ground: PlanGround, asked: Asked) -> NDArray[np.float64]:
    """Return what more would be used in each quarter hour. [Wh]

    What is given a day is spread over the quarters of those hours on a day of 24 hours.
    """
    hours = _within(ground.minute, asked.from_minute, asked.to_minute - 1)
    used = hours & _within(ground.month, asked.first_month, asked.last_month)
    minutes = (asked.to_minute - asked.from_minute) % 1440 or 1440
    each_wh = asked.more_w / 4 + asked.more_wh_a_day / (minutes / 15)
    return np.where(used, each_wh, 0.0)


def _within(values: NDArray[np.int64], first: int, last: int) -> NDArray[np.bool_]:
    """Return which values lie from first to last, both included, around the end if need be."""
    if first <= last:
        return (values >= first) & (values <= last)
    return (values >= first) | (values <= last)


def _battery(time: PricedTime, site: Site, efficiency: Document, wear: Document) -> Battery | None:
    line = time.energies.energy.battery
    if line is None or site.battery_ah is None or site.battery_cells is None:
        return None
    power_w = whole_quarters(line) * 4
    seen = power_w[~np.isnan(power_w)]
    if not seen.size:
        return None
    rated_w = site.inverter_w or 0.0
    latest = wear.get("capacity_latest") or {}
    measured_ah = latest.get("ah")
    ah = site.battery_ah if measured_ah is None else measured_ah
    trip = efficiency["round_trip"]
    known = trip["ratio"] is not None
    # A meter's error can make a round trip look better than it can be.
    round_trip = (
        (min(trip["ratio"], 1.0), min(trip["low_ratio"], 1.0), min(trip["high_ratio"], 1.0))
        if known
        else _ASSUMED_ROUND_TRIP
    )
    return Battery(
        capacity_wh=ah * site.battery_cells * _CELL_V,
        charge_w=max(float(np.quantile(seen, _MOST)), rated_w),
        discharge_w=max(-float(np.quantile(seen, 1 - _MOST)), rated_w),
        round_trip=round_trip,
        words=(
            "its capacity is the one measured last"
            if measured_ah is not None
            else "its capacity is the one it is rated for: none was measured",
            "its round trip is the one measured"
            if known
            else "its round trip is assumed: none was measured",
            "its limits of power are the inverter's rating"
            if rated_w
            else "its limits of power are the most it was seen to take and give in quarter hours",
        ),
    )
