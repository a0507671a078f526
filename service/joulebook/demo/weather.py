"""The studio's weather: clouds that come and go by day and hour, warmth by season and hour."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.demo.studio import (
    DAY_MS,
    LATITUDE_DEG,
    LONGITUDE_DEG,
    PANELS_FACING_DEG,
    PANELS_TILT_DEG,
    STEPS_A_DAY,
    stream,
)
from joulebook.demo.sun import Floats, panel_w_m2, season_rad, solar_hour, sun_position

# How much of yesterday's weather is still there today, and of the last hour's in this one.
_DAY_MEMORY = 0.6
_HOUR_MEMORY = 0.85
_WARMTH_MEMORY = 0.75
_RAGGED_STEPS = 5  # clouds pass in about ten minutes

_MEAN_C = 14.5
_SEASON_C = 12.0
_WARMEST_RAD = 2 * np.pi * 203 / 365  # late July
_DAY_SWING_C = 6.5
_SPELL_C = 3.5


@dataclass(frozen=True, slots=True)
class Weather:
    """What the studio feels at each step: light on the panels, air outside. Shape (n,)."""

    panel_w_m2: Floats
    cover: Floats  # share of the sky under cloud, 0 to 1
    ambient_c: Floats


class Sky:
    """Tells the weather day after day; each day follows from the one before and its own stream."""

    def __init__(self) -> None:
        self._cloudy = 0.0
        self._hour = 0.0
        self._spell = 0.0

    def days(self, first: int, at_ms: NDArray[np.int64]) -> Weather:
        """Return the weather of whole days from day number ``first``, at the given instants."""
        latent = np.empty(len(at_ms))
        spell = np.empty(len(at_ms))
        for offset in range(len(at_ms) // STEPS_A_DAY):
            part = slice(offset * STEPS_A_DAY, (offset + 1) * STEPS_A_DAY)
            latent[part], spell[part] = self._one_day(first + offset)
        season = season_rad(at_ms)
        # Winter is cloudier by a third of a day's usual scatter.
        cover = 1 / (1 + np.exp(-1.7 * (latent - 0.15 + 0.35 * np.cos(season))))
        sun = sun_position(at_ms, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG)
        return Weather(
            panel_w_m2=panel_w_m2(
                sun, cover, tilt_deg=PANELS_TILT_DEG, facing_deg=PANELS_FACING_DEG
            ),
            cover=cover,
            ambient_c=_warmth(at_ms, season, spell),
        )

    def _one_day(self, day: int) -> tuple[Floats, Floats]:
        draw = stream("weather", day)
        through = np.arange(STEPS_A_DAY) / STEPS_A_DAY
        was_cloudy, was_spell = self._cloudy, self._spell
        self._cloudy = _follow(was_cloudy, _DAY_MEMORY, float(draw.standard_normal()))
        self._spell = _follow(was_spell, _WARMTH_MEMORY, float(draw.standard_normal()))
        hours = [self._hour]
        for pushed in draw.standard_normal(24):
            hours.append(_follow(hours[-1], _HOUR_MEMORY, float(pushed)))
        self._hour = hours[-1]
        ragged = np.convolve(
            draw.standard_normal(STEPS_A_DAY + _RAGGED_STEPS - 1),
            np.full(_RAGGED_STEPS, 1 / np.sqrt(_RAGGED_STEPS)),
            mode="valid",
        )
        latent = (
            1.1 * _between(was_cloudy, self._cloudy, through)
            + 0.8 * np.interp(through * 24, np.arange(25), hours)
            + 0.4 * ragged
        )
        return latent, _between(was_spell, self._spell, through)


def _follow(before: float, memory: float, push: float) -> float:
    # Keeps the variance at one, whatever the memory.
    return float(memory * before + np.sqrt(1 - memory**2) * push)


def _between(before: float, after: float, through: Floats) -> Floats:
    return before + (after - before) * through


def _warmth(at_ms: NDArray[np.int64], season: Floats, spell: Floats) -> Floats:
    hour = solar_hour(at_ms, LONGITUDE_DEG)
    return np.asarray(
        _MEAN_C
        + _SEASON_C * np.cos(season - _WARMEST_RAD)
        + _DAY_SWING_C * np.cos((hour - 15) * np.pi / 12)
        + _SPELL_C * spell
    )


def instants(start_ms: int, first: int, days: int) -> NDArray[np.int64]:
    """Return the instants of all steps of some days from number ``first``. [ms, UTC epoch]"""
    steps = np.arange(days * STEPS_A_DAY, dtype=np.int64)
    return start_ms + first * DAY_MS + steps * (DAY_MS // STEPS_A_DAY)
