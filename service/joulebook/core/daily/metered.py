"""What the devices' own energy counters say of a day, to set beside the integrals.

Method `counter-1`, see ``docs/methods/counter.md``.
"""

import math

import numpy as np
from numpy.typing import NDArray

from joulebook.core.counters import METHOD, counter_rise
from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.powers import SeriesSources
from joulebook.core.spans import Span

#: Number of the day, device kind and counter.
COUNTERS = {
    "battery_charge_counter_wh": ("battery", "charge_energy"),
    "battery_discharge_counter_wh": ("battery", "discharge_energy"),
    "pv_counter_wh": ("pv", "energy"),
    "load_counter_wh": ("load", "energy"),
    "grid_import_counter_wh": ("grid", "import_energy"),
    "grid_export_counter_wh": ("grid", "export_energy"),
}


def metered_numbers(sources: SeriesSources, span: Span) -> dict[str, Estimate]:
    """Return the rise of every counter that the site has, devices of a kind added up."""
    numbers = {}
    for name, (kind, quantity) in COUNTERS.items():
        rises = [_rise(at_ms, raw, span) for at_ms, raw in sources.each_reading(kind, quantity)]
        if rises:
            numbers[name] = _together(rises)
    return numbers


def _rise(at_ms: NDArray[np.int64], raw: NDArray[np.float64], span: Span) -> Estimate:
    """Return the rise from the last reading before the span to the last one inside it.

    So the rises of days add up to that of the window, and a gap inside costs nothing.
    """
    there = ~np.isnan(raw)
    if not there.all():
        at_ms, raw = at_ms[there], raw[there]
    first = max(int(np.searchsorted(at_ms, span.start_ms, side="right")) - 1, 0)
    last = int(np.searchsorted(at_ms, span.end_ms, side="right"))
    at_ms, raw = at_ms[first:last], raw[first:last]
    if at_ms.size < 2 or span.length_s == 0:
        return refused("fewer than two readings of the counter on this day", method=METHOD)
    steps = raw[1:] - raw[:-1]
    steps = steps[np.flatnonzero(steps)]  # a counter stands still most of the time
    step = float(steps.min(where=steps > 0, initial=np.inf))
    step = 0.0 if step == np.inf else step
    rise = counter_rise(at_ms, raw, resolution=step)
    covered_s = float(at_ms[-1] - max(at_ms[0], span.start_ms)) / 1000
    coverage = min(covered_s / span.length_s, 1.0)
    if rise.lower_bound:
        return refused(
            f"the counter began anew or gave readings that no plausible power explains; it rose "
            f"by {rise.energy_wh:.0f} Wh at least",
            method=METHOD,
            coverage_ratio=coverage,
        )
    # Each end shows anything up to one step less than the truth: the difference is triangular.
    half = K90 * math.hypot(METER_LIMIT_RATIO * rise.energy_wh / math.sqrt(3), step / math.sqrt(6))
    return Estimate(
        value=rise.energy_wh,
        low=max(rise.energy_wh - half, 0.0),
        high=rise.energy_wh + half,
        coverage_ratio=coverage,
        method=METHOD,
    )


def _together(rises: list[Estimate]) -> Estimate:
    """Return the sum of several devices' rises; refused where one of them is."""
    for rise in rises:
        if rise.value is None:
            return rise
    value, low, high = (
        sum(part or 0.0 for part in parts)
        for parts in zip(*((rise.value, rise.low, rise.high) for rise in rises), strict=True)
    )
    return Estimate(
        value=value,
        low=low,
        high=high,
        coverage_ratio=min(rise.coverage_ratio for rise in rises),
        method=METHOD,
    )
