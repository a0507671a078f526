"""What lost energy cost, at the price at which it was replaced. Method `loss-cost-1`.

Energy that is lost is missing elsewhere: in a quarter hour that buys, more was bought; in one that
sells, less was sold. In one that lives on panels and battery alone it is missing later: on a day
that bought anything, at that day's mean price; on one that only sold, at that day's mean of what
was sold; on one that did neither, at the price of selling.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.bill import METER_HALF
from joulebook.core.money.quarter_energy import Floats, inner
from joulebook.core.money.saved import LEAST_TOGETHER, why_not_together
from joulebook.core.money.together import Together

METHOD = "loss-cost-1"

#: A grid meter at rest shows a few watts. In a quarter hour it buys or sells from here on. [Wh]
_FLOWS_WH = 5.0
#: What is a year, for what runs all year long. [h]
YEAR_H = 8760.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """The price at which a lost kWh was replaced, by quarter hours [currency per kWh].

    ``least`` and ``most`` are the lower and the higher of the two prices of each: whatever was
    displaced, it was one of them.
    """

    price: Floats
    least: Floats
    most: Floats


def replacement_of(common: Together, day: NDArray[np.int64]) -> Replacement:
    """Return the prices at which energy lost in each quarter hour was replaced.

    Parameters
    ----------
    day : int64 array, shape (n,)
        Local days of the common quarter hours.
    """
    _, place = np.unique(day, return_inverse=True)
    bought, sold = (
        np.where(each > _FLOWS_WH, each, 0.0) for each in (common.import_wh, common.export_wh)
    )
    mean_in, mean_out = (
        _mean_by(place, weight, price)
        for weight, price in ((bought, common.import_price), (sold, common.export_price))
    )
    later = np.where(np.isnan(mean_in), mean_out, mean_in)[place]
    later = np.where(np.isnan(later), common.export_price, later)
    price = np.where(bought > sold, common.import_price, later)
    price = np.where(sold > bought, common.export_price, price)
    return Replacement(
        price=price,
        least=np.minimum(common.import_price, common.export_price),
        most=np.maximum(common.import_price, common.export_price),
    )


def losses_of(common: Together | None, day: NDArray[np.int64] | None) -> tuple[Estimate, Estimate]:
    """Return what was lost [Wh] and what it cost [currency], in the common time.

    The interval of the cost reaches from the lower to the higher price throughout, and by what
    the meters' limits leave of the losses, which are a small difference of large numbers.
    """
    if common is None or day is None or common.ratio < LEAST_TOGETHER:
        nothing = refused(
            why_not_together(common),
            method=METHOD,
            coverage_ratio=0.0 if common is None else common.ratio,
        )
        return nothing, nothing
    parts = (common.pv_wh, common.import_wh, common.export_wh, common.load_wh, common.battery_wh)
    pv, into, out, load, battery = parts
    lost = pv + into - out - load - battery
    found = replacement_of(common, day)
    half_wh = METER_HALF * math.hypot(
        *(float(np.abs(each).sum()) for each in (pv, into + out, load, battery))
    )
    total_wh = float(lost.sum())
    ends = [inner(lost, each) / 1000 for each in (found.least, found.most)]
    hours = float(common.measured_h.sum())
    half = half_wh / 1000 * inner(common.measured_h, np.abs(found.price)) / hours
    return (
        Estimate(
            value=total_wh,
            low=total_wh - half_wh,
            high=total_wh + half_wh,
            coverage_ratio=common.ratio,
            method=METHOD,
        ),
        Estimate(
            value=inner(lost, found.price) / 1000,
            low=min(ends) - half,
            high=max(ends) + half,
            coverage_ratio=common.ratio,
            method=METHOD,
        ),
    )


def idle_cost(
    common: Together | None,
    day: NDArray[np.int64] | None,
    idle_w: Estimate,
    *,
    hours: float = YEAR_H,
) -> Estimate:
    """Return what the inverter's own draw costs in so many hours, at the common time's prices.

    Parameters
    ----------
    idle_w : Estimate
        What it takes when it gives nothing, taken to run all the time. [W]
    hours : float
        A year by default. [h]
    """
    ratio = 0.0 if common is None else common.ratio
    reason = idle_w.reason
    if common is None or day is None or common.ratio < LEAST_TOGETHER:
        reason = why_not_together(common)
    if reason is not None or common is None or day is None:
        return refused(str(reason), method=METHOD, coverage_ratio=ratio)
    found = replacement_of(common, day)
    measured_h = float(common.measured_h.sum())
    price, least, most = (
        inner(common.measured_h, each) / measured_h
        for each in (found.price, found.least, found.most)
    )
    value = idle_w.value or 0.0
    low, high = (value if end is None else end for end in (idle_w.low, idle_w.high))
    a_watt = hours / 1000  # [kWh]
    ends = [watts * a_watt * each for watts in (low, high) for each in (least, most)]
    return Estimate(
        value=value * a_watt * price,
        low=min(ends),
        high=max(ends),
        coverage_ratio=ratio,
        method=METHOD,
    )


def _mean_by(place: NDArray[np.int64], weight: Floats, price: Floats) -> Floats:
    """Return the mean price of each day, weighted; NaN where nothing weighs."""
    total = np.bincount(place, weights=weight)
    mean = np.full(total.size, np.nan)
    np.divide(np.bincount(place, weights=weight * price), total, out=mean, where=total > 0)
    return mean
