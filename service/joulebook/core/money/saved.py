"""What the same use would have cost without battery, and without panels. Method `saved-1`.

Three bills of the same time and the same load: as it was; without the battery, where the panels
feed the load as they come through an inverter that sleeps in the dark, what is over is sold and
what is missing is bought; without both, where all of the load is bought. Fixed fees are the same
in each, and drop out.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.quarter_energy import (
    QUARTER_H,
    Floats,
    MeanPower,
    inner,
    most_both_ways_wh,
)
from joulebook.core.money.together import Together

METHOD = "saved-1"

#: Less of the time measured by all meters at once says too little of a month. Our choice.
LEAST_TOGETHER = 0.5

_METER_U = METER_LIMIT_RATIO / math.sqrt(3)


@dataclass(frozen=True, slots=True)
class Passed:
    """The share of the panels' energy that reaches the house, with its 90 % interval. [ratio]"""

    ratio: float
    low: float
    high: float


#: Where none was measured: what inverters pass on, with room on both sides. Our choice.
ASSUMED_PASSED = Passed(0.94, 0.88, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What was saved, by whom; amounts [currency]. ``both`` is ``panels`` and ``battery``.

    ``as_it_was``, ``without_battery`` and ``without_both`` are the three bills, without fixed fees.
    """

    panels: Estimate
    battery: Estimate
    both: Estimate
    as_it_was: float | None = None
    without_battery: float | None = None
    without_both: float | None = None


def saved_of(
    common: Together | None, *, has_panels: bool, has_battery: bool, passed: Passed
) -> Saved:
    """Return what panels and battery saved in the common time.

    Parameters
    ----------
    common : Together or None
        ``None`` for a site without grid or load meter.
    passed : Passed
        What of the panels' energy would have reached the house.

    Notes
    -----
    Within a quarter hour the load may be above the panels and below them. Of the most that can
    have run both ways then, half is taken.

    The interval joins each meter's assumed limit, independent of one another, that of ``passed``,
    and from none to most of what can have run both ways, uniform, by how much each moves the
    result (JCGM 100:2008, 5.1.2).
    """
    if common is None or common.ratio < LEAST_TOGETHER:
        return _refused(common)
    was, alone, none = (_bills(common, passed.ratio)[name] for name in range(3))
    passed_u = (passed.high - passed.low) / (2 * K90)
    moved = [
        _bills(common, passed.ratio, grid=1 + _METER_U),
        _bills(common, passed.ratio, load=1 + _METER_U),
        _bills(common, passed.ratio, pv=1 + _METER_U),
        _bills(common, passed.ratio + passed_u),
        _bills(common, passed.ratio, both_ways=0.5 + 0.5 / math.sqrt(3)),
    ]

    def estimate(dear: int, cheap: int) -> Estimate:
        bills = (was, alone, none)
        value = bills[dear] - bills[cheap]
        half = K90 * math.hypot(*(each[dear] - each[cheap] - value for each in moved))
        return Estimate(
            value=value,
            low=value - half,
            high=value + half,
            coverage_ratio=common.ratio,
            method=METHOD,
        )

    panels, battery = estimate(2, 1), estimate(1, 0)
    return Saved(
        panels=panels if has_panels else _none("the site has no panels", common.ratio),
        battery=battery if has_battery else _none("the site has no battery", common.ratio),
        both=estimate(2, 0),
        as_it_was=was,
        without_battery=alone,
        without_both=none,
    )


def _bills(
    common: Together,
    passed: float,
    *,
    grid: float = 1.0,
    load: float = 1.0,
    pv: float = 1.0,
    both_ways: float = 0.5,
) -> tuple[float, float, float]:
    """Return the bills as it was, without battery, and without both. [currency]"""
    bought, sold = common.import_price / 1000, common.export_price / 1000
    was = grid * (inner(common.import_wh, bought) - inner(common.export_wh, sold))
    use_wh = load * common.load_wh
    missing_wh = use_wh - pv * passed * common.pv_wh
    both_wh = both_ways * _most_both_ways(common, missing_wh, passed)
    alone = inner(np.maximum(missing_wh, 0.0) + both_wh, bought)
    alone -= inner(np.maximum(-missing_wh, 0.0) + both_wh, sold)
    return was, alone, inner(use_wh, bought)


def _most_both_ways(common: Together, missing_wh: Floats, passed: float) -> Floats:
    """Return how much can have been missing and over within each quarter hour. [Wh]"""
    (load_low, load_high), (pv_low, pv_high) = common.load_w, common.pv_w
    return most_both_ways_wh(
        MeanPower(
            mean_w=missing_wh / common.measured_h,
            low_w=load_low - passed * pv_high,
            high_w=load_high - passed * pv_low,
            measured_ratio=common.measured_h / QUARTER_H,
        )
    )


def _none(reason: str, ratio: float) -> Estimate:
    return refused(reason, method=METHOD, coverage_ratio=ratio)


def _refused(common: Together | None) -> Saved:
    ratio = 0.0 if common is None else common.ratio
    nothing = _none(why_not_together(common), ratio)
    return Saved(panels=nothing, battery=nothing, both=nothing)


def why_not_together(common: Together | None) -> str:
    """Return why nothing can be said of all meters together."""
    if common is None:
        return "the site has no meter of the grid or of the load"
    return (
        f"only {common.ratio:.0%} of the time was measured by all meters at once and has a "
        f"tariff; {LEAST_TOGETHER:.0%} are needed"
    )
