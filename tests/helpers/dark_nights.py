"""Nights on battery alone behind an inverter whose loss is known."""

import numpy as np

from joulebook.core.history import Floats, PackHistory, PowerHistory
from tests.helpers.full_cycles import START_MS

#: The inverter of these nights: ``40 + 0.03·P + 4e-6·P²``. [W]
IDLE_W, PER_LOAD, PER_SQUARE = 40.0, 0.03, 4e-6


def loss_w(output_w: Floats | float) -> Floats:
    """Return what it takes at an output. [W]"""
    taken: Floats = np.asarray(IDLE_W + PER_LOAD * output_w + PER_SQUARE * output_w**2)
    return taken


def dark_nights(
    nights: int,
    *,
    seed: int = 1,
    step_s: int = 60,
    least_w: float = 120.0,
    spread: float = 0.6,
    flicker: float = 0.3,
    offset_a: float = 0.0,
    dc_gain: float = 1.0,
    load_gain: float = 1.0,
    noise_w: float = 0.0,
    dc_noise_a: float = 0.0,
    late_s: int = 0,
) -> tuple[PackHistory, PowerHistory]:
    """Return whole days: ten hours of dark on battery, then light in which the panels feed all.

    Parameters
    ----------
    least_w, spread, flicker : float
        The load's least [W], and the standard deviation of its logarithm above it: of levels, and
        within them.
    offset_a, dc_gain, load_gain, noise_w, dc_noise_a : float
        What is wrong with the current sensor and the load's meter.
    late_s : int
        How much later the load's meter is read than the battery's. [s]
    """
    rng = np.random.default_rng(seed)
    rows = nights * 86_400 // step_s
    hour = np.arange(rows) * step_s / 3600 % 24
    dark = hour < 10
    # Levels that last a quarter of an hour on average, and what comes and goes within.
    kept = np.cumsum(rng.random(rows) < step_s / 900)
    load = least_w + rng.lognormal(5.5, spread, rows)[kept] * rng.lognormal(0, flicker, rows)
    battery = np.where(dark, -(load + loss_w(load)), 500.0)
    volts = 52.0 + battery * 0.0003
    seen = np.roll(load, -late_s // step_s) * load_gain + rng.normal(0, noise_w or 1e-9, rows)
    history = PackHistory(
        at_ms=START_MS + np.arange(rows) * step_s * 1000,
        voltage_v=volts,
        current_a=battery / volts * dc_gain + offset_a + rng.normal(0, dc_noise_a or 1e-9, rows),
        temperature_c=np.full(rows, 20.0),
        step_s=float(step_s),
        rated_ah=200.0,
        cells=16,
    )
    powers = PowerHistory(
        pv_w=np.where(dark, 0.0, 2000.0), grid_w=np.zeros(rows), load_w=seen, has_load=True
    )
    return history, powers
