"""A battery that is filled every noon and used every night, with what it truly lost."""

from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.balances import FullToFull
from joulebook.core.history import Floats, Instants, PackHistory
from joulebook.core.losses.full_segments import SensorOffset

DAY_MS = 86_400_000
START_MS = 1_735_689_600_000  # 2025-01-01T00:00Z


@dataclass(frozen=True, kw_only=True)
class FullCycles:
    """The record of it, its segments, and the truth."""

    history: PackHistory
    between: FullToFull
    charge_wh: float
    discharge_wh: float

    @property
    def ratio(self) -> float:
        """The true round trip of all segments together."""
        return self.discharge_wh / self.charge_wh


def no_offset(u_a: float = 0.0) -> SensorOffset:
    """Return what is known of a sensor that is taken to be right."""
    return constant_offset(0.0, u_a)


def constant_offset(offset_a: float, u_a: float = 0.0) -> SensorOffset:
    """Return an offset that never changes."""
    return SensorOffset(
        at_ms=np.array([START_MS]), offset_a=np.array([offset_a]), u_a=np.array([u_a])
    )


def segments_at(from_ms: Instants, to_ms: Instants, *, from_c: Floats, to_c: Floats) -> FullToFull:
    """Return segments of which nothing but instants and temperatures is told."""
    unknown = np.full(from_ms.size, np.nan)
    return FullToFull(
        from_ms=from_ms,
        to_ms=to_ms,
        hours=(to_ms - from_ms) / 3_600_000,
        change_ah=unknown,
        charged_ah=unknown,
        from_c=from_c,
        to_c=to_c,
    )


def full_cycles(
    days: int,
    *,
    seed: int = 1,
    step_s: int = 300,
    rated_ah: float = 200.0,
    loss_ratio: float = 0.0025,
    offset_a: float = 0.0,
    drift_a: float = 0.0,
    gain: float = 1.0,
    noise_a: float = 0.0,
    full_noise_ah: float = 0.0,
) -> FullCycles:
    """Return days from one noon's full charge to the next.

    Parameters
    ----------
    loss_ratio : float
        Share of the charge put in that never comes out.
    offset_a, drift_a, gain, noise_a : float
        What is wrong with the current sensor; the drift is from first to last day.
    full_noise_ah : float
        Standard deviation of what one full charge holds against another.
    """
    rng = np.random.default_rng(seed)
    per_day = 86_400 // step_s
    hour = np.arange(per_day) * step_s / 3600
    # From the full charge at noon: rest, an evening and a night out, rest, a morning in, rest.
    out = np.where((hour >= 5) & (hour < 17), 1.0 + 0.5 * np.sin(hour), 0.0)
    into = np.where((hour >= 18) & (hour < 22.5), 1.0, 0.0)
    step_h = step_s / 3600
    taken_ah = rng.uniform(0.3, 0.7, days) * rated_ah
    full_ah = rng.normal(0, full_noise_ah, days + 1) if full_noise_ah else np.zeros(days + 1)
    given_ah = (taken_ah + np.diff(full_ah)) / (1 - loss_ratio)
    amps = np.outer(given_ah, into / (into.sum() * step_h))
    amps -= np.outer(taken_ah, out / (out.sum() * step_h))
    amps = amps.ravel()
    volts = 52.8 + 0.03 * amps
    watts = volts * amps * step_h
    at_ms = START_MS + np.arange(days * per_day + 1) * step_s * 1000
    read = gain * amps + offset_a + np.linspace(0, drift_a, amps.size)
    read += rng.normal(0, noise_a, amps.size) if noise_a else 0.0
    warm = np.full(days, 25.0)
    return FullCycles(
        history=PackHistory(
            at_ms=at_ms,
            voltage_v=np.append(volts, 52.8),
            current_a=np.append(read, read[-1]),
            temperature_c=np.full(at_ms.size, 25.0),
            step_s=float(step_s),
            rated_ah=rated_ah,
            cells=16,
        ),
        between=segments_at(at_ms[:-1:per_day], at_ms[per_day::per_day], from_c=warm, to_c=warm),
        charge_wh=float(np.sum(np.maximum(watts, 0))),
        discharge_wh=float(np.sum(np.maximum(-watts, 0))),
    )
