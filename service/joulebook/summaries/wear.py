"""Cycles and warranty of a site, from its days' results."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import chain

from joulebook.core.cycles import (
    EFC_METHOD,
    RAINFLOW_METHOD,
    SMALLEST_TURN_RATIO,
    DepthBin,
    depth_histogram,
    rainflow,
    turning_points,
)
from joulebook.core.days import DayResult
from joulebook.core.estimate import Estimate
from joulebook.storage.records import Site
from joulebook.summaries.windows import SUM_METHOD, Window, total

_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """What a window's days say about wear. Capacity is not measured by this version."""

    window: Window
    efc: Estimate
    charge_wh: Estimate
    discharge_wh: Estimate
    depths: list[DepthBin]
    depths_method: str
    warranty_ends: date | None
    warranty_reason: str | None


def wear_of(days: Sequence[DayResult], site: Site, window: Window) -> Wear:
    """Return cycles, depths and throughput of a window, and when the warranty ends."""
    hours = window.hours(site)
    turns = turning_points(
        list(chain.from_iterable(day.soc_turns for day in days)), smallest=SMALLEST_TURN_RATIO
    )
    ends = warranty_ends(site)
    return Wear(
        window=window,
        efc=total(days, "efc", window_h=hours, method=EFC_METHOD),
        charge_wh=total(days, "battery_charge_wh", window_h=hours, method=SUM_METHOD),
        discharge_wh=total(days, "battery_discharge_wh", window_h=hours, method=SUM_METHOD),
        depths=depth_histogram(rainflow(turns)),
        depths_method=RAINFLOW_METHOD,
        warranty_ends=ends,
        warranty_reason=None if ends else "installation date and warranty years were not entered",
    )


def warranty_ends(site: Site) -> date | None:
    """Return the day on which the warranty's years are over, where the owner entered both.

    A battery installed on 29 February counts its years to 28 February; part of a year counts
    as days of a year of 365.25.
    """
    if site.installed is None or site.warranty_years is None:
        return None
    years, part = divmod(site.warranty_years, 1)
    year = site.installed.year + int(years)
    leap_day = (site.installed.month, site.installed.day) == (2, 29)
    whole = site.installed - timedelta(days=1) if leap_day else site.installed
    return whole.replace(year=year) + timedelta(days=round(part * _DAYS_PER_YEAR))
