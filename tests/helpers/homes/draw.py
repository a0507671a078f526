"""Homes drawn at random, far beyond the usual: packs, rooms, people, sensors, laws of ageing."""

from dataclasses import replace
from typing import Literal

import numpy as np

from tests.helpers.homes.spec import (
    AgeingSpec,
    ControlSpec,
    HomeSpec,
    Law,
    Learns,
    PackSpec,
    PlaceSpec,
    SensorSpec,
    UseSpec,
)
from tests.helpers.homes.weather import panels_w, spells

Kind = Literal[
    "usual", "never-low", "tested", "never-full", "summer-deep", "twice-a-day", "night-tariff"
]
#: How often each kind is drawn.
KINDS: dict[Kind, float] = {
    "usual": 0.52, "never-low": 0.08, "tested": 0.09, "never-full": 0.06,
    "summer-deep": 0.07, "twice-a-day": 0.09, "night-tariff": 0.09,
}  # fmt: skip
_NEVER = 9.9


def draw_homes(count: int, *, seed: int, years: float | None = None) -> list[HomeSpec]:
    """Return so many homes; the first ones do not depend on the count.

    Parameters
    ----------
    years : float, optional
        Length of every record but those logged every 10 s, which have one year at most. Three
        when not given.
    """
    return [_draw(number, seed, 3.0 if years is None else years) for number in range(count)]


def _draw(number: int, seed: int, years: float) -> HomeSpec:
    rng = np.random.default_rng((seed, number))
    kind: Kind = rng.choice(np.array(list(KINDS)), p=list(KINDS.values())).item()
    step_s = int(rng.choice([10, 60, 300], p=[0.04, 0.78, 0.18]))
    pack, place = _pack(rng), _place(rng)
    use = _use(rng, kind, pack)
    panel_kw = use.mean_w / _mean_panel_w_per_kw(place) * rng.uniform(0.95, 1.6)
    return HomeSpec(
        name=f"{kind}-{seed}-{number}",
        kind=kind,
        seed=int(rng.integers(2**31)),
        years=min(years, 1.0) if step_s == 10 else years,
        step_s=step_s,
        inner_s=min(step_s, 60),
        pack=pack,
        control=_control(rng, kind, pack.rated_ah),
        sensor=_sensor(rng, perfect=bool(rng.random() < 0.15), step_s=step_s),
        place=replace(place, panel_kw=panel_kw),
        use=use,
        ageing=draw_ageing(rng),
    )


def _pack(rng: np.random.Generator) -> PackSpec:
    rated_ah = float(rng.choice([100, 150, 200, 230, 280, 300, 314, 400, 560, 600]))
    cells = int(rng.choice([15, 16], p=[0.15, 0.85]))
    return PackSpec(
        rated_ah=rated_ah,
        cells=cells,
        start_ratio=float(np.clip(rng.normal(1.02, 0.02), 0.97, 1.08)),
        resistance_ohm=cells * rng.uniform(0.12, 0.24) / rated_ah * rng.uniform(0.8, 1.2),
        resistance_per_c=rng.uniform(0.008, 0.03),
        resistance_per_loss=rng.uniform(0.5, 3.0),
        resistance_low=rng.uniform(0.0, 0.7),
        slow=(
            (rng.uniform(0.05, 0.4), rng.uniform(60, 400)),
            (rng.uniform(0.05, 0.5), rng.uniform(400, 1800)),
        ),
        hysteresis_v=rng.uniform(0.004, 0.012),
        coulombic_ratio=rng.uniform(0.0005, 0.0045),
        hidden_a=rng.uniform(0.005, 0.04) if rng.random() < 0.3 else 0.0,
        full_per_c=rng.uniform(0.0, 0.0012),
        low_per_c=rng.uniform(0.0, 0.0025),
        curve_error_v=rng.uniform(0.002, 0.009),
        curve_towards_small_cell=float(np.clip(rng.normal(0, 0.12), -0.2, 0.35)),
        knee_width=rng.uniform(0.75, 1.3),
        lithium_share=rng.uniform(0.0, 1.0),
    )


def _control(rng: np.random.Generator, kind: Kind, rated_ah: float) -> ControlSpec:
    deep = rng.random()
    low = rng.uniform(0.05, 0.12) if deep < 0.55 else rng.uniform(0.12, 0.20)
    reserve = low if deep < 0.8 else rng.uniform(0.20, 0.30)
    if kind in ("never-low", "tested"):
        reserve = rng.uniform(0.28, 0.35)
    learns: Learns = rng.choice(np.array(["never", "late", "well"]), p=[0.35, 0.35, 0.3]).item()
    grid_hours = {"twice-a-day": (0.5, 5.5), "night-tariff": (0.0, 6.0)}.get(kind)
    return ControlSpec(
        full_cell_v=float(rng.choice([3.45, 3.475, 3.5, 3.55], p=[0.4, 0.2, 0.25, 0.15])),
        stops_at_tail=bool(rng.random() < 0.3),
        tail_ratio=rng.uniform(0.01, 0.03),
        charge_ratio=min(rng.uniform(0.25, 0.5), 300 / rated_ah),
        discharge_ratio=min(rng.uniform(0.35, 0.6), 300 / rated_ah),
        reserve_ratio=reserve,
        winter_reserve_ratio=rng.uniform(0.4, 0.6) if kind == "summer-deep" else reserve,
        reserve_back_ratio=rng.uniform(0.02, 0.08),
        target_ratio=rng.uniform(0.8, 0.92) if kind == "never-full" else 1.0,
        grid_hours=grid_hours,
        low_cell_v=rng.uniform(2.7, 2.95),
        test_every_days=90 if kind == "tested" else 0,
        learns=learns,
        exports=bool(rng.random() < 0.7),
        idle_from_battery=bool(rng.random() < 0.4),
        idle_w=rng.uniform(20, 90),
        per_load_ratio=rng.uniform(0.015, 0.05),
        per_load_squared=rng.uniform(1e-6, 6e-6),
        panel_ratio=rng.uniform(0.96, 0.99),
    )


def _sensor(rng: np.random.Generator, *, perfect: bool, step_s: int) -> SensorSpec:
    wrong = 0.0 if perfect else 1.0
    return SensorSpec(
        gain=1 + wrong * rng.uniform(-0.01, 0.01),
        offset_a=wrong * rng.uniform(-0.3, 0.3),
        drift_a=wrong * rng.uniform(0.0, 0.08),
        offset_per_c=wrong * rng.uniform(-0.002, 0.002),
        noise_a=rng.uniform(0.02, 0.15) if wrong else 0.01,
        ripple_ratio=rng.uniform(0.0, 0.05) if wrong and step_s >= 60 else 0.0,
        quantum_a=float(rng.choice([0.01, 0.1])) if wrong else 0.01,
        voltage_gain=1 + wrong * rng.uniform(-0.002, 0.002),
        voltage_offset_v=wrong * rng.uniform(-0.02, 0.02),
        voltage_noise_v=rng.uniform(0.002, 0.015) if wrong else 0.001,
        voltage_quantum_v=float(rng.choice([0.01, 0.1], p=[0.8, 0.2])) if wrong else 0.01,
        temperature_offset_c=wrong * rng.uniform(-2, 2),
        temperature_quantum_c=float(rng.choice([0.1, 1.0])) if wrong else 0.1,
        pv_gain=1 + wrong * rng.uniform(-0.015, 0.015),
        grid_gain=1 + wrong * rng.uniform(-0.01, 0.01),
        load_gain=1 + wrong * rng.uniform(-0.01, 0.01),
        meter_offset_w=wrong * rng.normal(0, 0.6),
        missing_ratio=rng.uniform(0, 0.006),
        gaps_per_year=rng.uniform(2, 30),
        gap_days=rng.uniform(0.05, 0.6),
        long_gap_days=rng.uniform(40, 150) if rng.random() < 0.08 else 0.0,
        counter_quantum_wh=float(rng.choice([1, 10, 100])),
    )


def _place(rng: np.random.Generator) -> PlaceSpec:
    latitude = rng.uniform(20, 56) * rng.choice([1, 1, 1, -1])
    warmth = 27 - 0.42 * (abs(latitude) - 20) + rng.normal(0, 2)
    indoors = rng.random() < 0.25
    return PlaceSpec(
        latitude_deg=latitude,
        mean_c=warmth,
        season_c=0.25 * abs(latitude) + rng.uniform(-2, 3),
        day_c=rng.uniform(2, 7),
        weather_c=rng.uniform(1.5, 4),
        room_ratio=rng.uniform(0.6, 0.9) if indoors else rng.uniform(0, 0.4),
        room_c=rng.uniform(17, 24),
        body_h=rng.uniform(6, 20),
        heat_c_per_w=rng.uniform(0.02, 0.08),
        panel_kw=0.0,
        cloud=rng.uniform(0.2, 0.8),
        outages_per_year=float(rng.choice([0.0, rng.uniform(1, 15)])),
    )


def _use(rng: np.random.Generator, kind: Kind, pack: PackSpec) -> UseSpec:
    share = rng.uniform(1.2, 2.3)
    if kind == "never-low":
        share = rng.uniform(0.6, 1.5)
    if kind == "twice-a-day":
        share = rng.uniform(2.2, 3.2)
    return UseSpec(
        mean_w=share * 3.3 * pack.cells * pack.rated_ah / 24,
        evening=rng.uniform(0.6, 1.2),
        season=rng.uniform(-0.35, 0.35),
        spikes_per_day=rng.uniform(1, 8),
        away_per_year=rng.uniform(0, 3),
    )


def _mean_panel_w_per_kw(place: PlaceSpec) -> float:
    """Return what one kilowatt of panels gives there on average over a year. [W]"""
    rng, days = np.random.default_rng(7), np.arange(0, 365, 1 / 48)
    spell = np.repeat(spells(rng, 365, 0.0, 0.6), 48)
    return float(panels_w(rng, replace(place, panel_kw=1.0), days, spell, 1800).mean())


def draw_ageing(rng: np.random.Generator) -> AgeingSpec:
    """Return a law: the published one made faster or slower, or powers; some with a knee."""
    law: Law = "naumann" if rng.random() < 0.3 else "power"
    calendar_power = float(rng.choice([0.5, 0.75, 1], p=[0.5, 0.3, 0.2]))
    cycle_power = float(rng.choice([0.6, 0.75, 1], p=[0.2, 0.3, 0.5]))
    calendar_ratio = float(0.024 * np.exp(np.clip(rng.normal(0, 0.45), -1, 0.9)))
    cycle_ratio = float(0.035 * np.exp(np.clip(rng.normal(0, 0.55), -1.2, 1.2)))
    if law == "naumann":
        calendar_power = cycle_power = 0.5
        calendar_ratio = cycle_ratio = rng.uniform(0.35, 0.8)
    has_knee = rng.random() < 0.08
    return AgeingSpec(
        law=law,
        calendar_ratio=calendar_ratio,
        calendar_power=calendar_power,
        cycle_ratio=cycle_ratio,
        cycle_power=cycle_power,
        activation_j=rng.uniform(14_000, 50_000),
        charge_slope=rng.uniform(0, 1.2),
        knee_loss=rng.uniform(0.05, 0.18) if has_knee else _NEVER,
        knee_gain=rng.uniform(6, 16) if has_knee else 0.0,
    )
