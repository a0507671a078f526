"""Air temperature and what the panels could give, for one home and some days."""

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.spec import PlaceSpec

DAYS = 365.25


def season(days: Floats, latitude_deg: float) -> Floats:
    """Return -1 in the depth of winter to 1 in high summer, by days since a first of January."""
    swing: Floats = -np.cos(2 * np.pi * (days - 20) / DAYS) * np.sign(latitude_deg)
    return swing


def air_c(place: PlaceSpec, days: Floats, spell_c: Floats) -> Floats:
    """Return the temperature outside the battery; ``spell_c`` is the weather's departure. [°C]"""
    outside = (
        place.mean_c
        + place.season_c * season(days, place.latitude_deg)
        - place.day_c * np.cos(2 * np.pi * (days - 3 / 24))
        + spell_c
    )
    around: Floats = place.room_ratio * place.room_c + (1 - place.room_ratio) * outside
    return around


def spells(rng: np.random.Generator, count: int, last: float, reach: float = 0.75) -> Floats:
    """Return a slow random departure for each of ``count`` days, of unit spread."""
    steps = rng.standard_normal(count) * np.sqrt(1 - reach**2)
    values = np.empty(count)
    for day, step in enumerate(steps):
        last = values[day] = reach * last + step
    return values


def panels_w(
    rng: np.random.Generator, place: PlaceSpec, days: Floats, spell: Floats, step_s: int
) -> Floats:
    """Return what the panels could give at each step. [W]

    Parameters
    ----------
    spell : float64 (len(days),)
        Slow weather of unit spread; cloud where it is below zero.
    """
    tilt = np.radians(abs(place.latitude_deg) * 0.7) * np.sign(place.latitude_deg)
    latitude = np.radians(place.latitude_deg)
    lean = np.radians(23.44) * np.sin(2 * np.pi * (days - 80) / DAYS)
    hour = 2 * np.pi * (days % 1 - 0.5)
    up = np.sin(latitude) * np.sin(lean) + np.cos(latitude) * np.cos(lean) * np.cos(hour)
    facing = np.sin(latitude - tilt) * np.sin(lean) + np.cos(latitude - tilt) * np.cos(
        lean
    ) * np.cos(hour)
    clear = np.clip(up, 0, None) ** 0.25 * np.clip(facing, 0, None)
    thick = 1 / (1 + np.exp(-1.6 * (spell + 1.7 - 2.0 * place.cloud)))
    block = max(300 // step_s, 1)
    flicker = np.repeat(rng.random(len(days) // block + 1), block)[: len(days)]
    broken = 1 - 0.6 * (1 - thick) * flicker
    power: Floats = 950.0 * place.panel_kw * clear * np.clip(thick, 0.12, 1) * broken
    return power
