"""Whether the clock that stamps the readings is right."""

import numpy as np

from joulebook.core.checks.finding import Finding, Verdict, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.curves import Curve, clipped
from joulebook.core.history import MS_PER_HOUR
from joulebook.core.spans import Span

#: Readings may be stamped so far ahead of their receipt, and arrive so late at the quickest.
EARLIEST_S, LATEST_S = -2.0, 60.0
#: Of all delays the quickest tell the clock's error: a spool that catches up only delays.
_QUICK_PERCENTILE = 10
#: Local hours between which the middle of the day's sun falls for any roof, zone and season, and
#: beyond which it falls for none (common practice, no source).
NOON_HOURS, NO_NOON_HOURS = (10.5, 14.75), (9.5, 15.75)
#: A day tells where it was measured and sunny enough.
_LEAST_COVERAGE_RATIO, _LEAST_SUN_WH = 0.8, 300.0

_LOOK_AT = "the clock and the zone of the machine that the bridge runs on, and its time service"


def clock(inputs: CheckInputs, device: str) -> Finding:
    """Return how far the stamps of readings lie from their receipt."""
    lags_s = inputs.lags_s.get(device, np.empty(0))
    if not lags_s.size:
        return unclear("clock", f"no times of receipt are known for {device}", device=device)
    quick_s = float(np.percentile(lags_s, _QUICK_PERCENTILE))
    wrong = not EARLIEST_S <= quick_s <= LATEST_S
    where = "before they were read" if quick_s < 0 else "after they were read"
    return Finding(
        name="clock",
        device=device,
        verdict="trouble" if wrong else "good",
        sentence=f"readings of {device} arrive {abs(quick_s):.1f} s {where}, at the quickest",
        evidence={"quick_lag_s": quick_s, "middle_lag_s": float(np.median(lags_s))},
        look_at=_LOOK_AT if wrong else None,
        coverage_ratio=1.0,
    )


def noon(inputs: CheckInputs) -> Finding:
    """Return when the middle of the day's solar energy falls on the site's own clock."""
    line = inputs.sources.power("pv").line
    if line is None:
        return unclear("noon", "the site has no panels to tell the time of day by")
    hours = [
        hour for day in inputs.days if (hour := _middle_h(clipped(line, day), day)) is not None
    ]
    if not hours:
        return unclear("noon", "no day was sunny and well measured enough to tell the time by")
    hour = float(np.median(hours))
    verdict: Verdict = "unclear"
    if NOON_HOURS[0] <= hour <= NOON_HOURS[1]:
        verdict = "good"
    elif not NO_NOON_HOURS[0] <= hour <= NO_NOON_HOURS[1]:
        verdict = "trouble"
    minutes = round(hour * 60)
    return Finding(
        name="noon",
        verdict=verdict,
        sentence=(
            f"the middle of the day's solar energy falls at {minutes // 60}:{minutes % 60:02d} "
            "on the site's clock"
        ),
        evidence={"middle_h": hour, "days_count": float(len(hours))},
        look_at=None if verdict == "good" else f"the site's zone; {_LOOK_AT}",
        coverage_ratio=len(hours) / len(inputs.days),
    )


def _middle_h(line: Curve, day: Span) -> float | None:
    """Return the hour of a day around which its energy is balanced, where the day tells it."""
    held_ms = np.where(line.joined, np.diff(line.at_ms), 0.0)
    if float(np.sum(held_ms)) < _LEAST_COVERAGE_RATIO * day.length_s * 1000:
        return None
    energy = np.maximum(line.value[:-1] + line.value[1:], 0.0) / 2 * held_ms
    whole = float(np.sum(energy))
    if whole / MS_PER_HOUR < _LEAST_SUN_WH:
        return None
    middle = (line.at_ms[:-1] + line.at_ms[1:]) / 2 - day.start_ms
    return float(np.sum(energy * middle)) / whole / MS_PER_HOUR
