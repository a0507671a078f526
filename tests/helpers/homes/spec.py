"""What a simulated home is made of: every parameter, nothing drawn later than here."""

import hashlib
from dataclasses import asdict, dataclass
from typing import Literal

Law = Literal["naumann", "power"]
Learns = Literal["never", "late", "well"]


@dataclass(frozen=True, kw_only=True)
class PackSpec:
    """The cells as they are when new.

    Attributes
    ----------
    start_ratio : float
        True charge that fits in when new, of the rated.
    resistance_ohm, resistance_per_c, resistance_per_loss, resistance_low : float
        Ohmic, of the new pack at 25 °C; exponent for each degree colder; growth for each unit of
        capacity lost; rise towards empty as a share.
    slow : pairs of (share of the ohmic resistance, time constant in seconds)
        Polarisation.
    hysteresis_v : float
        Half the distance between the branches of a cell.
    coulombic_ratio : float
        Share of the charge that is lost while charging.
    hidden_a : float
        What the battery's computer draws from the cells behind the current sensor.
    full_per_c, low_per_c : float
        How far either end of the curve moves in for each degree below 25 °C.
    curve_error_v, curve_towards_small_cell, knee_width : float
        Of the rest voltage against the trade's usual table: standard deviation of a smooth error,
        share of the way to a published small cell, width of the upper knee as a share.
    lithium_share : float
        Of the capacity lost: 1 all by lithium inventory, 0 all by active material.
    """

    rated_ah: float
    cells: int
    start_ratio: float
    resistance_ohm: float
    resistance_per_c: float
    resistance_per_loss: float
    resistance_low: float
    slow: tuple[tuple[float, float], tuple[float, float]]
    hysteresis_v: float
    coulombic_ratio: float
    hidden_a: float
    full_per_c: float
    low_per_c: float
    curve_error_v: float
    curve_towards_small_cell: float
    knee_width: float
    lithium_share: float


@dataclass(frozen=True, kw_only=True)
class ControlSpec:
    """What the owner's equipment does, by the battery's own idea of its charge.

    Attributes
    ----------
    full_cell_v : float
        Constant-voltage end of charging.
    stops_at_tail, tail_ratio
        Whether charging ends for good at a current of this share of the rated charge; else the
        voltage is held as long as there is power.
    reserve_ratio, winter_reserve_ratio, reserve_back_ratio : float
        Discharge ends here, begins again this much higher.
    target_ratio : float
        Charging ends at this claimed charge; 1 is until the voltage says full.
    grid_hours : pair of hours, or None
        Local hours of charging from the grid every night.
    low_cell_v : float
        Where the battery cuts off.
    test_every_days : int
        Between deliberate deep tests; 0 is never.
    learns
        Whether the battery's own idea of its capacity follows the truth.
    """

    full_cell_v: float
    stops_at_tail: bool
    tail_ratio: float
    charge_ratio: float
    discharge_ratio: float
    reserve_ratio: float
    winter_reserve_ratio: float
    reserve_back_ratio: float
    target_ratio: float
    grid_hours: tuple[float, float] | None
    low_cell_v: float
    test_every_days: int
    learns: Learns
    exports: bool
    idle_from_battery: bool
    idle_w: float
    per_load_ratio: float
    per_load_squared: float
    panel_ratio: float


@dataclass(frozen=True, kw_only=True)
class SensorSpec:
    """What is wrong with the readings."""

    gain: float
    offset_a: float
    drift_a: float
    offset_per_c: float
    noise_a: float
    ripple_ratio: float
    quantum_a: float
    voltage_gain: float
    voltage_offset_v: float
    voltage_noise_v: float
    voltage_quantum_v: float
    temperature_offset_c: float
    temperature_quantum_c: float
    pv_gain: float
    grid_gain: float
    load_gain: float
    meter_offset_w: float
    missing_ratio: float
    gaps_per_year: float
    gap_days: float
    long_gap_days: float
    counter_quantum_wh: float


@dataclass(frozen=True, kw_only=True)
class PlaceSpec:
    """Climate, room and roof."""

    latitude_deg: float
    mean_c: float
    season_c: float
    day_c: float
    weather_c: float
    room_ratio: float
    room_c: float
    body_h: float
    heat_c_per_w: float
    panel_kw: float
    cloud: float
    outages_per_year: float


@dataclass(frozen=True, kw_only=True)
class UseSpec:
    """What the people draw."""

    mean_w: float
    evening: float
    season: float
    spikes_per_day: float
    away_per_year: float


@dataclass(frozen=True, kw_only=True)
class AgeingSpec:
    """How capacity goes.

    Attributes
    ----------
    calendar_ratio : float
        Lost after one year at 25 °C and half charge by a square root that meets the law at four
        years; for ``naumann`` a factor on the published loss.
    cycle_ratio : float
        Lost after 1000 full cycles; for ``naumann`` a factor on the published loss.
    activation_j, charge_slope : float
        Of the calendar part; Arrhenius and linear in the state of charge.
    knee_loss, knee_gain : float
        Beyond this loss each further one grows by so much for each unit of excess.
    """

    law: Law
    calendar_ratio: float
    calendar_power: float
    cycle_ratio: float
    cycle_power: float
    activation_j: float
    charge_slope: float
    knee_loss: float
    knee_gain: float


@dataclass(frozen=True, kw_only=True)
class HomeSpec:
    """One home. ``inner_s`` is the step of the physics, ``step_s`` that of the log."""

    name: str
    kind: str
    seed: int
    years: float
    step_s: int
    inner_s: int
    pack: PackSpec
    control: ControlSpec
    sensor: SensorSpec
    place: PlaceSpec
    use: UseSpec
    ageing: AgeingSpec

    @property
    def key(self) -> str:
        """Tells this home from any other that differs in anything."""
        return hashlib.sha256(repr(sorted(asdict(self).items())).encode()).hexdigest()[:16]
