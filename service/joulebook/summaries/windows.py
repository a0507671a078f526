"""Numbers of a window of days, put together from the days' results."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from joulebook.core.daily import conversion
from joulebook.core.daily.days import DayResult
from joulebook.core.daily.efficiency import (
    OFFSET_LIMIT_A,
    SOC_END_LIMIT_RATIO,
    SOC_STEP_LIMIT_RATIO,
    Pack,
    RunSums,
    joined_sums,
    round_trip,
)
from joulebook.core.daily.energy import METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span, date_of, days_span
from joulebook.storage.records import Site

SUM_METHOD = "sum-1"

_OFFSET = f"the battery's current sensor reads no more than ±{OFFSET_LIMIT_A} A when nothing flows"

Inputs = dict[str, float | int | None]


@dataclass(frozen=True, slots=True)
class Window:
    """The dates from ``first`` to ``last``, both included; ``None`` where there is no day."""

    first: date | None
    last: date | None

    @property
    def first_iso(self) -> str | None:
        """The first date as text."""
        return self.first.isoformat() if self.first else None

    @property
    def last_iso(self) -> str | None:
        """The last date as text."""
        return self.last.isoformat() if self.last else None

    def hours(self, site: Site) -> float:
        """Return how long the window is at a site. [h]"""
        if self.first is None or self.last is None:
            return 0.0
        return days_span(self.first, self.last, site.zone).length_s / 3600


def window_of(readings: Span | None, site: Site, first: date | None, last: date | None) -> Window:
    """Return the dates that were asked for, no further than there are readings.

    Parameters
    ----------
    readings : Span or None
        From the site's first reading to its last; ``None`` where there is none.
    first, last : date or None
        What was asked for; ``None`` leaves an end open.
    """
    if readings is None:
        return Window(None, None)
    known = (date_of(readings.start_ms, site.zone), date_of(readings.end_ms - 1, site.zone))
    window = (max(first or known[0], known[0]), min(last or known[1], known[1]))
    return Window(*window) if window[0] <= window[1] else Window(None, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiency:
    """Efficiency of a window, each number with its inputs and what it takes for granted."""

    window: Window
    round_trip: Estimate
    round_trip_inputs: Inputs
    round_trip_assumptions: list[str]
    conversion: Estimate
    conversion_inputs: Inputs
    conversion_assumptions: list[str]
    idle_w: Estimate
    idle_inputs: Inputs
    idle_assumptions: list[str]


def pack_of(site: Site) -> Pack | None:
    """Return the site's battery as rated, or ``None`` where the owner did not enter all of it."""
    if site.battery_ah is None or site.battery_cells is None:
        return None
    return Pack(site.battery_ah, site.battery_cells)


def efficiency_of(days: Sequence[DayResult], site: Site, window: Window) -> Efficiency:
    """Return the efficiency of a window from its days."""
    pack = pack_of(site)
    hours = window.hours(site)
    sums = _window_sums(days, hours)
    nights = [day.night for day in days if day.night is not None]
    idle_days = [day.numbers["idle_w"] for day in days]
    return Efficiency(
        window=window,
        round_trip=round_trip(sums, pack),
        round_trip_inputs=_sums_inputs(sums, pack),
        round_trip_assumptions=[
            _OFFSET,
            "its error of scale is the same in both directions, and cancels",
            f"the battery's own state of charge is within ±{SOC_END_LIMIT_RATIO:.0%} at the ends "
            f"of the window, and ±{SOC_STEP_LIMIT_RATIO:.0%} from one side of a gap to the other",
            "half of the loss comes on the way in, half on the way out",
        ],
        conversion=conversion.conversion(nights, pack, window_h=hours),
        conversion_inputs={
            "dc_wh": sum(night.dc_wh for night in nights),
            "ac_wh": sum(night.ac_wh for night in nights),
            "hours": sum(night.hours for night in nights),
        },
        conversion_assumptions=[
            f"both meters read within ±{METER_LIMIT_RATIO:.0%}, independently of each other",
            _OFFSET,
            "the inverter's own draw is counted as loss",
        ],
        idle_w=conversion.idle(idle_days, pack),
        idle_inputs={"days": sum(day.value is not None for day in idle_days)},
        idle_assumptions=[
            _OFFSET,
        ],
    )


def total(days: Sequence[DayResult], name: str, *, window_h: float, method: str) -> Estimate:
    """Return the sum of a number over days; days without it lower the coverage.

    Both ends of the intervals are added up: errors of a meter's scale are shared by all days,
    so the interval is not narrowed by their number.

    Parameters
    ----------
    name : str
        The number's field name, such as ``efc``.
    window_h : float
        Length of the window. [h]
    method : str
        What the sum is called.
    """
    given = [(day.hours, day.numbers[name]) for day in days]
    known = [(hours, number) for hours, number in given if number.value is not None]
    if not known:
        reason = given[-1][1].reason if given else None
        return refused(reason or "no day has a result yet", method=method)
    covered_h = sum(hours * number.coverage_ratio for hours, number in known)
    return Estimate(
        value=sum(number.value or 0.0 for _, number in known),
        low=sum(number.low or 0.0 for _, number in known),
        high=sum(number.high or 0.0 for _, number in known),
        coverage_ratio=min(covered_h / window_h, 1.0) if window_h else 0.0,
        method=method,
    )


def _window_sums(days: Sequence[DayResult], hours: float) -> RunSums | None:
    runs = [(day.date, day.runs) for day in days if day.runs is not None]
    if not runs:
        return None
    # Days without a result count as time that was not measured.
    return replace(joined_sums(runs), length_s=hours * 3600)


def _sums_inputs(sums: RunSums | None, pack: Pack | None) -> Inputs:
    if sums is None:
        return {}
    stored_wh = sums.stored_ratio * pack.rated_wh if pack else None
    return {
        "charge_wh": sums.charge_wh,
        "discharge_wh": sums.discharge_wh,
        "stored_change_wh": stored_wh,
        "rated_wh": pack.rated_wh if pack else None,
        "hours": sums.covered_s / 3600,
        "runs": sums.runs,
        "uncorrected_ratio": sums.discharge_wh / sums.charge_wh if sums.charge_wh else None,
    }
