"""Batteries that fade by many laws, and what a fit would say of them; all drawn from seeds.

The published law: M. Naumann et al., J. Energy Storage 17 (2018) 153 (calendar) and J. Power
Sources 451 (2020) 227666 (cycling). The other curve is what a published model (BLAST-Lite 1.1.0,
250 Ah prismatic cell, 25 °C) predicts at whole years. The rest is our choice.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats
from joulebook.core.outlook.forecast_evidence import FadeEvidence
from joulebook.core.outlook.forecast_usage import UsageHistory

RATED_AH = 280.0
#: Relative capacity after so many years of 365 days, 292 cycles each.
PUBLISHED_YEARS = np.array([0, 0.2, 0.6, 1, 2, 3, 5, 8, 10])
PUBLISHED_KEPT = np.array(
    [1, 0.992626, 0.984806, 0.978518, 0.965293, 0.953807, 0.93343, 0.90630, 0.88954]
)

LAWS = ("square root", "0.75", "straight", "any power", "Naumann", "model", "quick start", "knee")
SHARES = (0.18, 0.11, 0.09, 0.16, 0.20, 0.14, 0.07, 0.05)


@dataclass(frozen=True, kw_only=True)
class Fading:
    """A battery that fades: its loss by thermal age and cycles, and both by time in years."""

    law: str
    first_ratio: float
    loss: Callable[[Floats, Floats], Floats]
    thermal_years: Callable[[Floats], Floats]
    efc: Callable[[Floats], Floats]
    gain: float

    def soh(self, years: Floats) -> Floats:
        """Return the true capacity at times. [of rated]"""
        lost = self.loss(self.thermal_years(years), self.efc(years))
        kept: Floats = self.first_ratio * (1 - lost)
        return kept


def draw_fading(rng: np.random.Generator, law: str | None = None) -> Fading:
    """Draw a battery, of a law where one is given."""
    chosen = str(rng.choice(LAWS, p=SHARES)) if law is None else law
    warm, warm_swing, warm_phase = np.exp(rng.normal(-0.1, 0.35)), *rng.uniform(0, [0.3, 6.28])
    used, used_swing, used_phase = rng.uniform(80, 300), *rng.uniform(0, [0.3, 6.28])
    tired = rng.uniform(0.001, 0.01)
    return Fading(
        law=chosen,
        first_ratio=float(rng.normal(1.02, 0.02)),
        loss=_loss(rng, chosen, float(warm)),
        thermal_years=lambda t: warm * _seasonal(t, warm_swing, warm_phase),
        efc=lambda t: used * _seasonal(t, used_swing, used_phase) * (1 - tired * t),
        gain=float(1 + rng.uniform(-0.01, 0.01)),
    )


def evidence_of(
    fading: Fading, years: float, rng: np.random.Generator, *, level: float = 0.006
) -> FadeEvidence:
    """Return what a fit of so many years would say: knots every 60 days.

    Its errors: one for all knots (``level``), one that grows with time (0.1 % a year), and one of
    each knot (0.4 %); it states them 1.6 times too small, as such fits do.
    """
    at = np.linspace(0, years, max(round(years * 365.25 / 60), 1) + 1)
    spread = level**2 + 0.004**2 * np.eye(at.size) + 0.001**2 * np.outer(at, at)
    errors = np.linalg.cholesky(spread) @ rng.standard_normal(at.size)
    capacity_ah = RATED_AH * (fading.soh(at) * fading.gain + errors)
    information = np.linalg.inv(spread).astype(np.float64) * 1.6**2 / RATED_AH**2
    return FadeEvidence(
        years=at, information=information, vector=information @ capacity_ah, rated_ah=RATED_AH
    )


def usage_of(fading: Fading, years: float) -> UsageHistory:
    """Return how it was used over its record, from new; 51.2 V."""
    at = np.linspace(0, years, max(round(24 * years), 2) + 1)
    last = np.array([max(years - 1, 0.0), years])
    thermal_rate, efc_rate = (
        float(np.diff(total(last))[0] / np.diff(last)[0])
        for total in (fading.thermal_years, fading.efc)
    )
    wh_per_cycle = RATED_AH * 51.2
    return steady_usage(
        years=at,
        thermal_years=fading.thermal_years(at),
        efc=fading.efc(at),
        rates=(thermal_rate, efc_rate, efc_rate * wh_per_cycle),
        discharge_wh=float(fading.efc(at)[-1]) * wh_per_cycle,
    )


def steady_usage(
    *,
    years: Floats,
    thermal_years: Floats,
    efc: Floats,
    rates: tuple[float, float, float],
    discharge_wh: float,
) -> UsageHistory:
    """Return a usage from new, well measured."""
    return UsageHistory(
        start_ms=0,
        years=years,
        thermal_years=thermal_years,
        efc=efc,
        discharge_wh=discharge_wh,
        thermal_rate=rates[0],
        efc_rate=rates[1],
        discharge_rate_wh=rates[2],
        before_years=0.0,
        before_thermal_years=0.0,
        before_efc=0.0,
        before_wh=0.0,
        coverage_ratio=1.0,
    )


def naumann_calendar_ratio(years: float, temperature_c: float, soc_ratio: float) -> float:
    """Return the published loss by time alone."""
    kelvin = temperature_c + 273.15
    speed = 1.2571e-5 * np.exp(-17126 / 8.3144598 * (1 / kelvin - 1 / 298.15))
    return float(speed * (2.8575 * (soc_ratio - 0.5) ** 3 + 0.60225) * np.sqrt(years * 31_557_600))


def naumann_cycle_ratio(efc: float, c_rate: float, depth_ratio: float) -> float:
    """Return the published loss by cycles alone."""
    shape = 4.0253 * (depth_ratio - 0.6) ** 3 + 1.0923
    return float((0.063 * c_rate + 0.0971) * shape * np.sqrt(efc) / 100)


def _seasonal(years: Floats, swing: float, phase: float) -> Floats:
    turn = 2 * np.pi
    wave: Floats = years + swing / turn * (np.sin(turn * years + phase) - np.sin(phase))
    return wave


def _loss(rng: np.random.Generator, law: str, warm: float) -> Callable[[Floats, Floats], Floats]:
    a = 0.025 * np.exp(0.45 * rng.standard_normal())
    c = 0.035 * np.exp(0.5 * rng.standard_normal())
    if law == "Naumann":
        by_time = naumann_calendar_ratio(1.0, 25.0, 0.5) * rng.uniform(0.5, 1.2)
        by_cycles = naumann_cycle_ratio(1000.0, 0.2, 0.7) * rng.uniform(0.5, 1.2)
        return lambda age, efc: by_time * np.sqrt(age) + by_cycles * np.sqrt(efc / 1000)
    if law == "model":
        size, pace = np.exp(rng.normal(0, [0.3, 0.25]))
        # Beyond its ten years it goes on as in the last two.
        beyond = (PUBLISHED_KEPT[-2] - PUBLISHED_KEPT[-1]) / 2
        at = np.append(PUBLISHED_YEARS, 40.0)
        lost = np.append(1 - PUBLISHED_KEPT, 1 - PUBLISHED_KEPT[-1] + 30 * beyond)
        return lambda age, _: size * np.interp(pace * age * warm**-0.2, at, lost)
    if law == "quick start":
        pace, early = rng.uniform(0.3, 2.0), 0.025 * np.exp(0.4 * rng.standard_normal())
        return lambda age, efc: early * (1 - np.exp(-age / pace)) + 0.3 * a * age + c * efc / 1000
    p, q = {
        "square root": (0.5, 1.0),
        "0.75": (0.75, 1.0),
        "straight": (1.0, 1.0),
        "any power": (rng.uniform(0.4, 1.0), rng.uniform(0.5, 1.1)),
        "knee": (float(rng.choice([0.5, 0.75, 1.0])), 1.0),
    }[law]
    knee = rng.uniform(0.08, 0.2) if law == "knee" else np.inf

    def loss(age: Floats, efc: Floats) -> Floats:
        smooth = 2 * a * (age / 4) ** p + c * (efc / 1000) ** q
        beyond = np.maximum(smooth - knee, 0.0)
        bent: Floats = smooth - beyond + (np.exp(np.minimum(12 * beyond, 4.0)) - 1) / 12
        return bent

    return loss
