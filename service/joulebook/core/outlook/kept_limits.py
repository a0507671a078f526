"""Whether a battery was kept within what its terms allow.

Method `limits-1`, see ``docs/methods/limits.md``. Only measured time counts, and a limit that was
not entered is not judged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.estimate import Estimate, refused
from joulebook.core.held import held
from joulebook.core.history import PackHistory
from joulebook.core.outlook.rest_current import REST_A
from joulebook.core.outlook.throughput import OffsetAt

METHOD = "limits-1"

#: What a pack's voltmeter may read too much without telling of a fault (our choice). [of it]
VOLTMETER_RATIO = 0.005
#: A temperature sensor's assumed limit. [°C]
SENSOR_C = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the terms allow; ``None`` where nothing was entered. [°C, V]"""

    charge_low_c: float | None = None
    charge_high_c: float | None = None
    discharge_low_c: float | None = None
    discharge_high_c: float | None = None
    charge_max_v: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """How long each limit was not kept. [h]

    Attributes
    ----------
    charge_cold, charge_hot, discharge_cold, discharge_hot, over_voltage : Estimate
        Hours beyond the limit as read; ``low`` counts only what no error of the sensor explains,
        ``high`` what such an error might hide.
    highest_v : float or None
        The highest pack voltage that was read. [V]
    coldest_c, hottest_c : float or None
        The extremes of the temperature. [°C]
    """

    charge_cold: Estimate
    charge_hot: Estimate
    discharge_cold: Estimate
    discharge_hot: Estimate
    over_voltage: Estimate
    highest_v: float | None
    coldest_c: float | None
    hottest_c: float | None


def kept_limits(history: PackHistory, limits: Limits, *, offset_at: OffsetAt | None = None) -> Kept:
    """Return how long each limit was not kept.

    Parameters
    ----------
    history : PackHistory
        The whole record.
    offset_at : callable, optional
        What the current sensor shows at no current. [A]
    """
    amps = history.current_a
    if offset_at is not None:
        amps = amps - offset_at(history.at_ms)
    hours = held(history.at_ms, step_s=history.step_s).hours
    warmth, volts = history.temperature_c, history.voltage_v
    into, out = amps > REST_A, amps < -REST_A
    warm = ~np.isnan(warmth) & ~np.isnan(amps)

    def beyond(
        limit: float | None,
        excess: NDArray[np.float64],
        known: NDArray[np.bool_],
        where: NDArray[np.bool_],
        error: float,
    ) -> Estimate:
        seen_h, whole_h = float(np.sum(hours[known])), float(np.sum(hours))
        coverage = seen_h / whole_h if whole_h else 0.0
        if limit is None:
            return refused(
                "the terms' limit was not entered", method=METHOD, coverage_ratio=coverage
            )
        if not seen_h:
            return refused("what it is about was not measured", method=METHOD, coverage_ratio=0.0)
        value, low, high = (
            float(np.sum(hours[known & where & (excess > least)])) for least in (0.0, error, -error)
        )
        return Estimate(value=value, low=low, high=high, coverage_ratio=coverage, method=METHOD)

    def cold(limit: float | None, where: NDArray[np.bool_]) -> Estimate:
        return beyond(limit, (limit or 0.0) - warmth, warm, where, SENSOR_C)

    def hot(limit: float | None, where: NDArray[np.bool_]) -> Estimate:
        return beyond(limit, warmth - (limit or 0.0), warm, where, SENSOR_C)

    most_v = limits.charge_max_v
    return Kept(
        charge_cold=cold(limits.charge_low_c, into),
        charge_hot=hot(limits.charge_high_c, into),
        discharge_cold=cold(limits.discharge_low_c, out),
        discharge_hot=hot(limits.discharge_high_c, out),
        over_voltage=beyond(
            most_v,
            volts - (most_v or 0.0),
            ~np.isnan(volts),
            np.ones(volts.size, np.bool_),
            VOLTMETER_RATIO * (most_v or 0.0),
        ),
        highest_v=_extreme(volts, 1),
        coldest_c=_extreme(warmth, -1),
        hottest_c=_extreme(warmth, 1),
    )


def _extreme(values: NDArray[np.float64], side: int) -> float | None:
    known = values[~np.isnan(values)]
    return side * float(np.max(side * known)) if known.size else None
