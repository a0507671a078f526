"""What was paid in a span: bought, sold, fixed, and together. Method `bill-1`.

Amounts are sums of floats: off by less than a billionth of themselves. Nothing is rounded before a
document (a thousandth of the currency) or a page (a hundredth) shows it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.prices import PricedBand, Prices
from joulebook.core.money.quarter_energy import METHOD as ENERGY_METHOD
from joulebook.core.money.quarter_energy import GridEnergy

METHOD = "bill-1"

#: A bill of less of the time would look like a smaller one. Our choice.
LEAST_FOR_A_BILL = 0.9

#: Half of a 90 % interval from a meter's assumed limit, as a share of what it counted.
METER_HALF = K90 * METER_LIMIT_RATIO / math.sqrt(3)

_PER_KWH = 1 / 1000


@dataclass(frozen=True, slots=True)
class BandSum:
    """What one band of the tariff has in a bill: energies [Wh] and amounts [currency]."""

    priced: PricedBand
    import_wh: float
    export_wh: float
    bought: float
    sold: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """What was paid in a span; energies [Wh], amounts [currency].

    ``total`` is bought, less sold, and the fixed fee. ``bands`` add up to ``bought`` and ``sold``.
    """

    bought_wh: Estimate
    sold_wh: Estimate
    bought: Estimate
    sold: Estimate
    fixed: Estimate
    total: Estimate
    bands: tuple[BandSum, ...] = ()


def bill_of(
    energy: GridEnergy, prices: Prices, *, fixed: tuple[float, float], quarters: float
) -> Bill:
    """Return the bill of the quarter hours of a span.

    Parameters
    ----------
    energy, prices : GridEnergy, Prices
        Of the span's quarter hours as far as there are readings, shape (n,).
    fixed : tuple of float
        The fixed fee and the share of the span that has a tariff; `fixed_fee` returns them.
    quarters : float
        How many quarter hours the span has, with those without readings.
    """
    measured = float(energy.measured_ratio.sum()) / quarters if quarters else 0.0
    bought_wh, sold_wh = (
        _energy(each, energy.unsure_wh, measured) for each in (energy.import_wh, energy.export_wh)
    )
    fee, fee_ratio = fixed
    fixed_fee = (
        Estimate(value=fee, low=fee, high=fee, coverage_ratio=fee_ratio, method=METHOD)
        if fee_ratio > 0
        else refused("no tariff holds in this time", method=METHOD)
    )
    priced = prices.band >= 0
    ratio = float(energy.measured_ratio[priced].sum()) / quarters if quarters else 0.0
    why = _why_no_amount(prices, measured, ratio)
    if why is not None:
        nothing = refused(why, method=METHOD, coverage_ratio=ratio)
        return Bill(
            bought_wh=bought_wh,
            sold_wh=sold_wh,
            bought=nothing,
            sold=nothing,
            fixed=fixed_fee,
            total=nothing,
        )
    bands = _bands(energy, prices)
    bought, sold = (math.fsum(getattr(each, name) for each in bands) for name in ("bought", "sold"))
    unsure_in, unsure_out, unsure = (
        _cost(energy.unsure_wh, each)
        for each in (
            np.abs(prices.import_price),
            np.abs(prices.export_price),
            np.abs(prices.import_price - prices.export_price),
        )
    )
    half = METER_HALF * (abs(bought) + abs(sold)) + unsure
    total = bought - sold + fee
    return Bill(
        bought_wh=bought_wh,
        sold_wh=sold_wh,
        bought=_within(bought, METER_HALF * abs(bought) + unsure_in, ratio),
        sold=_within(sold, METER_HALF * abs(sold) + unsure_out, ratio),
        fixed=fixed_fee,
        total=_within(total, half, ratio)
        if ratio >= LEAST_FOR_A_BILL
        else refused(_too_little(ratio), method=METHOD, coverage_ratio=ratio),
        bands=bands,
    )


def _bands(energy: GridEnergy, prices: Prices) -> tuple[BandSum, ...]:
    """Sum up energies by band, and price each sum once."""
    there = prices.band >= 0
    size = len(prices.bands)
    bought_wh, sold_wh = (
        np.bincount(prices.band[there], weights=each[there], minlength=size)
        for each in (energy.import_wh, energy.export_wh)
    )
    used = np.unique(prices.band[there & (energy.measured_ratio > 0)])
    return tuple(
        BandSum(
            priced := prices.bands[place],
            float(bought_wh[place]),
            float(sold_wh[place]),
            float(bought_wh[place]) * _PER_KWH * float(priced.band.import_price),
            float(sold_wh[place]) * _PER_KWH * float(priced.band.export_price),
        )
        for place in used
    )


def _energy(wh: NDArray[np.float64], unsure_wh: NDArray[np.float64], measured: float) -> Estimate:
    if not measured:
        return refused("nothing was measured in this time", method=ENERGY_METHOD)
    total = float(wh.sum())
    half = METER_HALF * total + float(unsure_wh.sum())
    return Estimate(
        value=total,
        low=max(total - half, 0.0),
        high=total + half,
        coverage_ratio=min(measured, 1.0),
        method=ENERGY_METHOD,
    )


def _why_no_amount(prices: Prices, measured: float, ratio: float) -> str | None:
    if not measured:
        return "nothing was measured in this time"
    if not ratio:
        return "no tariff holds in this time"
    if len(prices.currencies) > 1:
        return f"the currency changed in this time: {', '.join(prices.currencies)}"
    return None


def _too_little(ratio: float) -> str:
    return (
        f"only {ratio:.0%} of the time was measured and has a tariff; "
        f"{LEAST_FOR_A_BILL:.0%} are needed for a bill"
    )


def _within(value: float, half: float, ratio: float) -> Estimate:
    return Estimate(
        value=value,
        low=value - half,
        high=value + half,
        coverage_ratio=min(ratio, 1.0),
        method=METHOD,
    )


def _cost(wh: NDArray[np.float64], price: NDArray[np.float64]) -> float:
    """Return what energies cost, leaving out those without a price. [currency]"""
    return float(np.nansum(wh * price)) * _PER_KWH
