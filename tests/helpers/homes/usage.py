"""What the people of one home draw, for some days."""

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.spec import UseSpec
from tests.helpers.homes.weather import season

_HOUR_SHARE = np.array(
    (
        *(0.5, 0.45, 0.42, 0.4, 0.4, 0.5, 0.9, 1.3, 1.2, 0.9, 0.8, 0.8),
        *(0.9, 0.8, 0.8, 0.8, 1.0, 1.6, 2.1, 2.2, 1.9, 1.5, 1.1, 0.7),
    )
)


def load_w(
    rng: np.random.Generator, use: UseSpec, days: Floats, *, latitude_deg: float, step_s: int
) -> Floats:
    """Return the load at each step of whole days. [W]"""
    per_day = 86_400 // step_s
    whole = len(days) // per_day
    shape = _HOUR_SHARE**use.evening
    hours = np.interp(days % 1 * 24, np.arange(25), np.append(shape, shape[0])) / shape.mean()
    day_factor = np.exp(rng.normal(-0.02, 0.2, whole))
    at_home = np.ones(whole)
    for first in np.flatnonzero(rng.random(whole) < use.away_per_year / 365):
        at_home[first : first + int(rng.integers(4, 14))] = 0.25
    swing = 1 + use.season * season(days, latitude_deg)
    block = max(900 // step_s, 1)
    restless = np.repeat(np.exp(rng.normal(-0.08, 0.4, len(days) // block + 1)), block)
    minute = np.exp(rng.normal(-0.01, 0.12, len(days)))
    load = use.mean_w * 0.9 * hours * swing * restless[: len(days)] * minute
    load *= np.repeat(day_factor * at_home, per_day)
    for start in rng.integers(0, len(days), rng.poisson(use.spikes_per_day * whole)):
        steps = max(int(rng.integers(180, 1200)) // step_s, 1)
        load[start : start + steps] += rng.uniform(800, 2600)
    least: Floats = np.maximum(load, 40.0)
    return least


def outages(rng: np.random.Generator, per_year: float, steps: int, step_s: int) -> Floats:
    """Return 1 where the grid is away, 0 elsewhere."""
    away = np.zeros(steps)
    for start in rng.integers(0, steps, rng.poisson(per_year * steps * step_s / 31_557_600)):
        away[start : start + int(rng.exponential(3.0) * 3600 / step_s) + 1] = 1.0
    return away
