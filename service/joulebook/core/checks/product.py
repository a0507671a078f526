"""Whether power is volts times amperes, and whether a battery's current has the right sign."""

import numpy as np

from joulebook.core.checks.finding import Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.history import Floats

#: Power and product may differ by so much before one of them is wrong (our choice: registers
#: read one after the other, and rounding, make a percent).
LARGEST_DIFFERENCE_RATIO = 0.03
#: Rows tell where the product is at least this. [W]
_LEAST_W, _FEWEST_ROWS = 50.0, 30
#: Steps of the current that move the voltage enough to be seen. [A]
_LEAST_STEP_A, _FEWEST_STEPS = 5.0, 20


def product(inputs: CheckInputs, device: str) -> Finding:
    """Return how power compares with volts times amperes in the same rows."""
    power, volts, amps = inputs.together(device, "power", "voltage", "current")
    made = volts * amps
    busy = np.abs(made) >= _LEAST_W
    if np.count_nonzero(busy) < _FEWEST_ROWS:
        return unclear(
            "product", f"{device} was not busy enough to compare watts with volts times amperes",
            device=device,
        )  # fmt: skip
    ratio = float(np.median(power[busy] / made[busy]))
    trouble = _product_trouble(device, ratio)
    difference = abs(ratio - 1)
    return Finding(
        name="product",
        device=device,
        verdict="trouble" if trouble else "good",
        sentence=trouble or f"power of {device} is volts times amperes to within {difference:.1%}",
        evidence={"power_over_product_ratio": ratio, "rows_count": float(np.count_nonzero(busy))},
        look_at=f"scale and sign of power, voltage and current of {device} in the bridge"
        if trouble
        else None,
        coverage_ratio=inputs.share_of(device, int(np.count_nonzero(busy))),
    )


def _product_trouble(device: str, ratio: float) -> str | None:
    for factor, words in ((1000.0, "thousandths of a watt"), (0.001, "kilowatts")):
        if abs(abs(ratio) / factor - 1) < LARGEST_DIFFERENCE_RATIO:
            return f"power of {device} looks like {words}: it is {ratio:.4g} times volts by amperes"
    if abs(ratio - 1) <= LARGEST_DIFFERENCE_RATIO:
        return None
    if abs(ratio + 1) <= LARGEST_DIFFERENCE_RATIO:
        return f"power and current of {device} have opposite signs"
    return f"power of {device} is {ratio:.3g} times volts by amperes"


def current_sign(inputs: CheckInputs, device: str) -> Finding:
    """Return whether a battery's voltage rises with its current, as it must while charging.

    Each step of the current moves the voltage by its resistance; with the sign turned around the
    resistance comes out below zero.
    """
    volts, amps = inputs.together(device, "voltage", "current")
    step_v, step_a = np.diff(volts), np.diff(amps)
    large = np.abs(step_a) >= _LEAST_STEP_A
    count = int(np.count_nonzero(large))
    if count < _FEWEST_STEPS:
        return unclear(
            "current sign", f"the current of {device} did not step enough to tell its sign",
            device=device,
        )  # fmt: skip
    milliohm = 1000 * _slope(step_a[large], step_v[large])
    agree = float(np.mean(step_v[large] * step_a[large] > 0))
    disagree = float(np.mean(step_v[large] * step_a[large] < 0))
    evidence = {"resistance_mohm": milliohm, "steps_count": float(count), "agreeing_ratio": agree}
    share = inputs.share_of(device, volts.size)
    if milliohm < 0 and disagree > 0.7:
        return Finding(
            name="current sign",
            device=device,
            verdict="trouble",
            sentence=f"the voltage of {device} falls when its current rises: the current has the "
            "wrong sign. It must be positive while charging",
            evidence=evidence,
            look_at=f"the sign of current and power of {device} in the bridge",
            coverage_ratio=share,
        )
    if milliohm > 0 and agree > 0.7:
        return Finding(
            name="current sign",
            device=device,
            verdict="good",
            sentence=f"the voltage of {device} rises with its current, by {milliohm:.1f} mΩ",
            evidence=evidence,
            coverage_ratio=share,
        )
    return Finding(
        name="current sign",
        device=device,
        verdict="unclear",
        sentence=f"the voltage of {device} follows its current too loosely to tell the sign",
        evidence=evidence,
        coverage_ratio=share,
    )


def _slope(step_a: Floats, step_v: Floats) -> float:
    """Return the median resistance of steps, larger ones weighing more. [Ω]"""
    ohm = step_v / step_a
    order = np.argsort(ohm)
    weight = np.cumsum(np.abs(step_a)[order])
    return float(ohm[order][np.searchsorted(weight, weight[-1] / 2)])
