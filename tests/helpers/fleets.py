"""Fleets of homes whose truth is known: what they went through, and which of them are worse.

They age by laws of their own, which are not those that the product compares with: a square root
of the thermal years and a straight line of the cycles.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.fleet.likeness import Lives
from joulebook.core.history import Floats, Instants


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fleet:
    """What is measured of every home, and who is worse than what it went through explains."""

    lives: Lives
    capacity: Floats
    capacity_u: Floats
    fade: Floats
    fade_u: Floats
    worse: Instants


def fleet(
    rng: np.random.Generator,
    homes: int,
    *,
    worse: int = 0,
    by: float = 0.12,
    warmth_c: float = 2.0,
    cycles: float = 25.0,
    years: tuple[float, float] = (2.0, 3.5),
) -> Fleet:
    """Return a fleet in which batteries differ by 1.5 % of the rated charge for no reason.

    Parameters
    ----------
    worse, by : int, float
        How many have lost more than the others, and by how much. [of rated]
    warmth_c, cycles, years : float, float, (float, float)
        How their lives differ: standard deviations, and the ages from and to.
    """
    warm = rng.normal(24.0, warmth_c, homes)
    heat, age = np.exp(0.055 * (warm - 25.0)), rng.uniform(*years, homes)
    cycles_a_year = np.clip(rng.normal(220.0, cycles, homes), 20.0, None)
    lost = 0.024 * np.sqrt(age * heat) + 3e-5 * cycles_a_year * age
    own = 0.015 * rng.normal(size=homes)
    bad = rng.choice(homes, worse, replace=False)
    extra = np.zeros(homes)
    extra[bad] = by
    capacity_u, fade_u = rng.uniform(0.006, 0.02, homes), rng.uniform(0.001, 0.004, homes)
    fade = (lost + extra) / age + 0.003 * rng.normal(size=homes)
    return Fleet(
        lives=Lives(heat=heat, cycles=cycles_a_year, age_years=age),
        capacity=1.01 - lost - extra + own + capacity_u * rng.normal(size=homes),
        capacity_u=capacity_u,
        fade=fade + fade_u * rng.normal(size=homes),
        fade_u=fade_u,
        worse=np.sort(bad),
    )
