"""Batteries that wear ever faster from a day on, and when the rules about capacity tell it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.battery.fast_loss import METHOD as FAST_LOSS
from joulebook.core.records.record import analyse
from tests.alert_logs import DAY_MS, FLOOR_RATIO, Logged
from tests.helpers.homes import Home, HomeSpec
from tests.helpers.homes.home import START_MS
from tests.helpers.homes.spec import AgeingSpec

#: The record is analysed so often, from this day on; a rule that waits 14 days needs two looks.
EVERY_DAYS, FIRST_DAY = 15, 180
#: Lost in a year before, which holds any usual floor for ten years, and how much more of it for
#: each unit of loss after (our choice).
LOST_A_YEAR, _GAIN = 0.015, 185.0


@dataclass(frozen=True, kw_only=True)
class Looks:
    """What the record's analyses told, one after another.

    Attributes
    ----------
    at_ms : list of int
        When.
    above : list of float or None
        How far the capacity's upper end lay above the floor. [% of the rated charge]
    chance : list of float or None
        To hold the floor until the warranty ends. [%]
    fast : list of float or None
        1 where the newest nights had to speak, else 0.
    """

    at_ms: list[int]
    above: list[float | None]
    chance: list[float | None]
    fast: list[float | None]


def worn(spec: HomeSpec, onset_day: int) -> HomeSpec:
    """Return a home whose battery wears slowly and evenly, and from a day on ever faster."""
    return replace(
        spec,
        ageing=AgeingSpec(
            law="power",
            calendar_ratio=2 * LOST_A_YEAR,  # the simulation's law at half charge has half of it
            calendar_power=1.0,
            cycle_ratio=0.0,
            cycle_power=1.0,
            activation_j=0.0,
            charge_slope=0.0,
            knee_loss=LOST_A_YEAR * onset_day / 365.25,
            knee_gain=_GAIN,
        ),
    )


def lost_since_onset(years: float) -> float:
    """Return the share of its first charge that a worn battery lost since its onset.

    The loss L grows by ``LOST_A_YEAR · (1 + _GAIN · L)`` a year, L counted from the onset.
    """
    return math.expm1(_GAIN * LOST_A_YEAR * years) / _GAIN


def looked(log: Logged) -> Looks:
    """Return what a record tells as it grows."""
    looks = Looks(at_ms=[], above=[], chance=[], fast=[])
    for day in range(FIRST_DAY, log.days, EVERY_DAYS):
        now_ms = START_MS + day * DAY_MS
        record = analyse(log.inputs.until(now_ms))
        high_ah, forecast = record.capacity.latest.ah.high, record.forecast
        chance = None if forecast is None else forecast.probability_met
        looks.at_ms.append(now_ms)
        looks.above.append(
            None if high_ah is None else 100 * (high_ah / log.history.rated_ah - FLOOR_RATIO)
        )
        looks.chance.append(None if chance is None else 100 * chance)
        told_by = record.capacity.latest.ah.method
        looks.fast.append(None if high_ah is None else float(told_by == FAST_LOSS))
    return looks


def below_floor_day(home: Home) -> int | None:
    """Return the first day on which the true capacity is below the floor."""
    return first_below(home.truth.daily.capacity_ah, FLOOR_RATIO * home.spec.pack.rated_ah)


def first_below(values: Sequence[float] | np.ndarray, floor: float) -> int | None:
    """Return where values are below a floor first."""
    below = np.flatnonzero(np.asarray(values) < floor)
    return int(below[0]) if below.size else None
