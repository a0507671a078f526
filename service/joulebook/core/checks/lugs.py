"""Resistance of cables, lugs, fuses and breakers between battery and inverter."""

import math

import numpy as np

from joulebook.core.checks.finding import BATTERY_CAUTION, Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.curves import Curve, aligned
from joulebook.core.daily.energy import K90
from joulebook.core.history import Floats

#: Two metres of fat cable with a fuse and a breaker are one to three milliohms; beyond this
#: something is loose, thin or corroded (common practice, no source). [mΩ]
LARGEST_MOHM = 5.0
#: Known no better than this, half of a 90 % interval, it is not given. [mΩ]
WORST_HALF_MOHM = 2.0
#: Instants with a steady current tell, and these must lie apart by so much. [A]
STEADY_A, LEAST_SPREAD_A = 3.0, 15.0
_FEWEST = 60
#: As many readings in a row err alike as fall into this. [s]
_ALIKE_S = 600.0


def lugs(inputs: CheckInputs, battery: str, inverter: str) -> Finding:
    """Return the resistance between the battery's terminals and the inverter's, and its loss.

    Notes
    -----
    While charging, the inverter stands higher by current times resistance, while discharging
    lower: the difference of the two voltages is a line over the current, whose slope is the
    resistance. Two voltmeters never quite agree, which moves the line and not its slope. 0.4 V
    of difference at 100 A are 4 mΩ and 40 W.
    """
    lines = [
        inputs.line(battery, "voltage"),
        inputs.line(battery, "current"),
        inputs.line(inverter, "dc_voltage"),
    ]
    amps, drop_v, share = _steady(lines)
    what = f"{battery} and {inverter}"
    if amps.size < _FEWEST or float(np.ptp(amps)) < LEAST_SPREAD_A:
        return unclear(
            "lugs", f"{what} were not seen together at different steady currents", device=battery
        )
    slope, offset_v, slope_u = _line(amps, drop_v, _alike(lines[0]))
    milliohm, half = 1000 * slope, 1000 * K90 * slope_u
    largest_a = float(np.percentile(np.abs(amps), 95))
    evidence = {
        "resistance_mohm": milliohm,
        "low_mohm": milliohm - half,
        "high_mohm": milliohm + half,
        "busy_current_a": largest_a,
        "lost_w": slope * largest_a**2,
        "meters_differ_v": offset_v,
    }
    if half > WORST_HALF_MOHM:
        return Finding(
            name="lugs",
            device=battery,
            verdict="unclear",
            sentence=f"the two voltmeters are too coarse to tell: {milliohm:.1f} ± {half:.1f} mΩ",
            evidence=evidence,
            coverage_ratio=share,
        )
    worn = milliohm - half > LARGEST_MOHM
    return Finding(
        name="lugs",
        device=battery,
        verdict="trouble" if worn else "good" if milliohm + half > 0 else "unclear",
        sentence=f"{milliohm:.1f} ± {half:.1f} mΩ lie between {what}: "
        f"{max(evidence['lost_w'], 0.0):.0f} W lost at {largest_a:.0f} A",
        evidence=evidence,
        look_at="lugs, fuse, breaker and cable between the two: warm spots, torque, thickness"
        if worn
        else None,
        caution=BATTERY_CAUTION if worn else None,
        coverage_ratio=share,
    )


def _steady(lines: list[Curve]) -> tuple[Floats, Floats, float]:
    """Return steady currents, how much higher the inverter stands then, and their share."""
    if any(line.at_ms.size < 2 for line in lines):
        return np.empty(0), np.empty(0), 0.0
    volts, amps, inverter_v = aligned(lines)
    change = np.abs(np.diff(amps.value))
    calm = np.zeros(amps.value.size, dtype=np.bool_)
    calm[1:-1] = (change[:-1] < STEADY_A) & (change[1:] < STEADY_A)
    calm[1:-1] &= amps.joined[:-1] & amps.joined[1:]
    return (
        amps.value[calm],
        inverter_v.value[calm] - volts.value[calm],
        float(np.mean(calm)),
    )


def _alike(line: Curve) -> float:
    """Return how many readings in a row err alike."""
    usual_s = float(np.median(np.diff(line.at_ms))) / 1000
    return max(_ALIKE_S / usual_s, 1.0)


def _line(amps: Floats, drop_v: Floats, alike: float) -> tuple[float, float, float]:
    """Return slope, intercept and the slope's standard uncertainty of a robust line."""
    weight = np.ones(amps.size)
    slope, offset, spread, rest = 0.0, 0.0, 1.0, drop_v
    for _ in range(5):
        middle = np.average(amps, weights=weight)
        mean = np.average(drop_v, weights=weight)
        spread = float(np.sum(weight * (amps - middle) ** 2))
        slope = float(np.sum(weight * (amps - middle) * (drop_v - mean)) / spread)
        offset = float(mean - slope * middle)
        rest = drop_v - offset - slope * amps
        scale = 1.4826 * float(np.median(np.abs(rest))) + 1e-6
        weight = 1 / np.maximum(np.abs(rest) / (1.5 * scale), 1.0)
    noise = math.sqrt(float(np.sum(weight * rest**2)) / max(float(np.sum(weight)) - 2, 1.0))
    return slope, offset, noise * math.sqrt(alike / spread)
