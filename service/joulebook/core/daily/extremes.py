"""Lowest, highest and mean over a day: states of charge and temperatures of batteries.

Methods `extremes-1` and `time-mean-1`, see ``docs/methods/extremes.md`` and ``time-mean.md``.
"""

import math
from dataclasses import replace

import numpy as np

from joulebook.core.curves import Curve, coverage_ratio
from joulebook.core.daily.efficiency import SOC_END_LIMIT_RATIO
from joulebook.core.daily.energy import K90, mean_over_time
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span

EXTREMES_METHOD = "extremes-1"
MEAN_METHOD = "time-mean-1"

#: Assumed limit of a temperature sensor's error, uniform within. [°C]
TEMPERATURE_LIMIT_C = 1.0


def level_numbers(levels: list[Curve], span: Span) -> dict[str, Estimate]:
    """Return the lowest and the highest state of charge that any battery claimed."""
    half = K90 * SOC_END_LIMIT_RATIO / math.sqrt(3)
    low, high = _extremes(levels, span, "state of charge", half)
    return {"soc_min_ratio": _inside_ratio(low), "soc_max_ratio": _inside_ratio(high)}


def _inside_ratio(number: Estimate) -> Estimate:
    """Return a ratio whose interval does not leave 0 to 1."""
    if number.low is None or number.high is None:
        return number
    return replace(number, low=max(number.low, 0.0), high=min(number.high, 1.0))


def temperature_numbers(lines: list[Curve], span: Span) -> dict[str, Estimate]:
    """Return the hottest reading of any battery, and the mean over time of all of them."""
    half = K90 * TEMPERATURE_LIMIT_C / math.sqrt(3)
    _, hottest = _extremes(lines, span, "battery temperature", half)
    seen = [mean_over_time(line, span) for line in lines]
    means = [each for each, _ in seen if each is not None]
    if not means:
        average = refused("no battery temperature was measured", method=MEAN_METHOD)
    else:
        value = sum(means) / len(means)
        average = Estimate(
            value=value,
            low=value - half,
            high=value + half,
            coverage_ratio=min(ratio for _, ratio in seen),
            method=MEAN_METHOD,
        )
    return {"battery_temperature_max_c": hottest, "battery_temperature_mean_c": average}


def _extremes(lines: list[Curve], span: Span, what: str, half: float) -> tuple[Estimate, Estimate]:
    """Return the lowest and the highest reading inside the span, of any of the lines."""
    inside = [
        line.value[(line.at_ms >= span.start_ms) & (line.at_ms < span.end_ms)] for line in lines
    ]
    values = np.concatenate(inside) if inside else np.empty(0)
    if values.size == 0:
        nothing = refused(f"no {what} was measured", method=EXTREMES_METHOD)
        return nothing, nothing
    coverage = min(coverage_ratio(line, span) for line in lines)
    low, high = (
        Estimate(
            value=value,
            low=value - half,
            high=value + half,
            coverage_ratio=coverage,
            method=EXTREMES_METHOD,
        )
        for value in (float(values.min()), float(values.max()))
    )
    return low, high
