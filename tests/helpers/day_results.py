"""Results of days of which only the panels' energy is known."""

from datetime import date

from joulebook.core.daily.days import DayResult
from joulebook.core.estimate import Estimate, refused
from joulebook.web.words import texts


def a_day(day: date, pv_wh: float | None, coverage_ratio: float = 1.0) -> DayResult:
    """Return a day's result; the panels' interval is a tenth to either side. [Wh]"""
    pv = (
        refused("the meter was silent", method="trapezoid-1")
        if pv_wh is None
        else Estimate(
            value=pv_wh,
            low=pv_wh * 0.9,
            high=pv_wh * 1.1,
            coverage_ratio=coverage_ratio,
            method="trapezoid-1",
        )
    )
    nothing = refused("the site has none", method="trapezoid-1")
    return DayResult(
        date=day,
        hours=24.0,
        coverage_ratio=coverage_ratio,
        readings=1,
        numbers={name: pv if name == "pv_wh" else nothing for name in (*texts.LABELS, "idle_w")},
    )
