"""Cycles and throughput of a window, from its days' results."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

from joulebook.core.daily.cycles import (
    EFC_METHOD,
    RAINFLOW_METHOD,
    SMALLEST_TURN_RATIO,
    DepthBin,
    depth_histogram,
    rainflow,
    turning_points,
)
from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.storage.records import Site
from joulebook.summaries.windows import SUM_METHOD, Window, total


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """What a window's days say about wear."""

    window: Window
    efc: Estimate
    charge_wh: Estimate
    discharge_wh: Estimate
    depths: list[DepthBin]
    depths_method: str


def wear_of(days: Sequence[DayResult], site: Site, window: Window) -> Wear:
    """Return cycles, depths and throughput of a window."""
    hours = window.hours(site)
    turns = turning_points(
        list(chain.from_iterable(day.soc_turns for day in days)), smallest=SMALLEST_TURN_RATIO
    )
    return Wear(
        window=window,
        efc=total(days, "efc", window_h=hours, method=EFC_METHOD),
        charge_wh=total(days, "battery_charge_wh", window_h=hours, method=SUM_METHOD),
        discharge_wh=total(days, "battery_discharge_wh", window_h=hours, method=SUM_METHOD),
        depths=depth_histogram(rainflow(turns)),
        depths_method=RAINFLOW_METHOD,
    )
