"""Where the sun stands and what it sends onto tilted panels, by short published formulas.

Good to a few tenths of a degree and a few percent: enough for a demonstration, not for a survey.

Sources
-------
Declination and equation of time: J. W. Spencer, "Fourier series representation of the position
of the sun", Search 2 (1971) 172. Clear sky: B. Haurwitz, J. Meteorology 2 (1945) 154. Clouds:
F. Kasten and G. Czeplak, Solar Energy 24 (1980) 177. Diffuse share: D. G. Erbs, S. A. Klein and
J. A. Duffie, Solar Energy 28 (1982) 293. Tilted plane under an even sky: B. Y. H. Liu and
R. C. Jordan, Solar Energy 7 (1963) 53. Coefficients from memory; tests hold the results against
an independent solar position and clear-day sum.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_YEAR_DAYS = 365.2425
_DAY_MS = 86_400_000
_SOLAR_CONSTANT_W_M2 = 1367.0
_GROUND_REFLECTS = 0.2
_LOWEST_COSINE = 0.03  # within two degrees of the horizon the ratios below mean nothing


@dataclass(frozen=True, slots=True)
class SunPosition:
    """Cosine of the zenith angle; azimuth clockwise from north [rad]; season, 0 to 2π a year."""

    cos_zenith: Floats
    azimuth_rad: Floats
    season_rad: Floats


def season_rad(at_ms: NDArray[np.int64]) -> Floats:
    """Return how far the year has turned, 0 at the turn of 1970 and 2π a year later. [rad]"""
    return 2 * np.pi * ((at_ms / _DAY_MS / _YEAR_DAYS) % 1.0)


def solar_hour(at_ms: NDArray[np.int64], longitude_deg: float) -> Floats:
    """Return the hour by the sun: 12 when it stands highest. [h]"""
    turn = season_rad(at_ms)
    equation_min = 229.18 * (
        0.000075
        + 0.001868 * np.cos(turn)
        - 0.032077 * np.sin(turn)
        - 0.014615 * np.cos(2 * turn)
        - 0.040849 * np.sin(2 * turn)
    )
    hour = (at_ms % _DAY_MS) / 3_600_000 + longitude_deg / 15 + equation_min / 60
    return np.asarray(hour % 24.0)


def sun_position(
    at_ms: NDArray[np.int64], *, latitude_deg: float, longitude_deg: float
) -> SunPosition:
    """Return where the sun stands at each instant. [ms, UTC epoch] → shape (n,)"""
    turn = season_rad(at_ms)
    declination = (
        0.006918
        - 0.399912 * np.cos(turn)
        + 0.070257 * np.sin(turn)
        - 0.006758 * np.cos(2 * turn)
        + 0.000907 * np.sin(2 * turn)
        - 0.002697 * np.cos(3 * turn)
        + 0.00148 * np.sin(3 * turn)
    )
    hour_angle = (solar_hour(at_ms, longitude_deg) - 12) * np.pi / 12
    latitude = np.radians(latitude_deg)
    cos_zenith = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    return SunPosition(cos_zenith, np.arctan2(east, north) % (2 * np.pi), turn)


def clear_sky_w_m2(cos_zenith: Floats) -> Floats:
    """Return what falls on level ground under a clear sky. [W/m²] (Haurwitz)"""
    up = np.maximum(cos_zenith, 1e-3)
    return np.where(cos_zenith > 0, 1098.0 * up * np.exp(-0.057 / up), 0.0)


def cloud_passes(cover: Floats) -> Floats:
    """Return the share of clear-sky light that a cloud cover from 0 to 1 lets through."""
    return np.asarray(1 - 0.75 * cover**3.4)


def panel_w_m2(sun: SunPosition, cover: Floats, *, tilt_deg: float, facing_deg: float) -> Floats:
    """Return what falls on a tilted plane through clouds: beam, even sky and ground. [W/m²]"""
    tilt, facing = np.radians(tilt_deg), np.radians(facing_deg)
    level = clear_sky_w_m2(sun.cos_zenith) * cloud_passes(cover)
    cosine = np.maximum(sun.cos_zenith, _LOWEST_COSINE)
    above_air = _SOLAR_CONSTANT_W_M2 * (1 + 0.033 * np.cos(sun.season_rad))
    diffuse = level * _diffuse_share(level / (above_air * cosine))
    sine = np.sqrt(np.maximum(1 - sun.cos_zenith**2, 0.0))
    facing_sun = sun.cos_zenith * np.cos(tilt) + sine * np.sin(tilt) * np.cos(
        sun.azimuth_rad - facing
    )
    beam = (level - diffuse) / cosine * np.maximum(facing_sun, 0.0)
    sky = diffuse * (1 + np.cos(tilt)) / 2
    ground = _GROUND_REFLECTS * level * (1 - np.cos(tilt)) / 2
    return np.where(level > 0, beam + sky + ground, 0.0)


def _diffuse_share(clearness: Floats) -> Floats:
    k = clearness
    middle = 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return np.where(k <= 0.22, 1 - 0.09 * k, np.where(k <= 0.8, middle, 0.165))
