"""A few homes chosen by hand, each for one thing that goes wrong; small enough for every run."""

from dataclasses import replace

from tests.helpers.homes.spec import (
    AgeingSpec,
    ControlSpec,
    HomeSpec,
    PackSpec,
    PlaceSpec,
    SensorSpec,
    UseSpec,
)

PERFECT = SensorSpec(
    gain=1.0,
    offset_a=0.0,
    drift_a=0.0,
    offset_per_c=0.0,
    noise_a=0.01,
    ripple_ratio=0.0,
    quantum_a=0.01,
    voltage_gain=1.0,
    voltage_offset_v=0.0,
    voltage_noise_v=0.001,
    voltage_quantum_v=0.01,
    temperature_offset_c=0.0,
    temperature_quantum_c=0.1,
    pv_gain=1.0,
    grid_gain=1.0,
    load_gain=1.0,
    meter_offset_w=0.0,
    missing_ratio=0.001,
    gaps_per_year=4.0,
    gap_days=0.1,
    long_gap_days=0.0,
    counter_quantum_wh=10.0,
)
USUAL = replace(
    PERFECT,
    gain=1.006,
    offset_a=0.22,
    drift_a=0.04,
    offset_per_c=0.001,
    noise_a=0.1,
    ripple_ratio=0.02,
    quantum_a=0.1,
    voltage_gain=1.001,
    voltage_noise_v=0.006,
    temperature_offset_c=1.0,
    temperature_quantum_c=1.0,
    pv_gain=1.01,
    load_gain=0.992,
    meter_offset_w=-0.5,
    missing_ratio=0.004,
    gaps_per_year=12.0,
    gap_days=0.3,
)
_PACK = PackSpec(
    rated_ah=200.0,
    cells=16,
    start_ratio=1.02,
    resistance_ohm=0.013,
    resistance_per_c=0.018,
    resistance_per_loss=1.5,
    resistance_low=0.3,
    slow=((0.2, 240.0), (0.3, 1200.0)),
    hysteresis_v=0.008,
    coulombic_ratio=0.002,
    hidden_a=0.02,
    full_per_c=0.0005,
    low_per_c=0.001,
    curve_error_v=0.004,
    curve_towards_small_cell=0.05,
    knee_width=1.0,
    lithium_share=0.7,
)
_CONTROL = ControlSpec(
    full_cell_v=3.475,
    stops_at_tail=False,
    tail_ratio=0.02,
    charge_ratio=0.4,
    discharge_ratio=0.5,
    reserve_ratio=0.07,
    winter_reserve_ratio=0.07,
    reserve_back_ratio=0.04,
    target_ratio=1.0,
    grid_hours=None,
    low_cell_v=2.8,
    test_every_days=0,
    learns="late",
    exports=True,
    idle_from_battery=False,
    idle_w=45.0,
    per_load_ratio=0.03,
    per_load_squared=3e-6,
    panel_ratio=0.98,
)
_PLACE = PlaceSpec(
    latitude_deg=38.0,
    mean_c=17.0,
    season_c=10.0,
    day_c=4.0,
    weather_c=2.5,
    room_ratio=0.2,
    room_c=20.0,
    body_h=12.0,
    heat_c_per_w=0.04,
    panel_kw=5.2,
    cloud=0.4,
    outages_per_year=3.0,
)
_USE = UseSpec(mean_w=720.0, evening=1.0, season=-0.1, spikes_per_day=4.0, away_per_year=1.0)
_AGEING = AgeingSpec(
    law="power",
    calendar_ratio=0.022,
    calendar_power=0.5,
    cycle_ratio=0.035,
    cycle_power=1.0,
    activation_j=30_000.0,
    charge_slope=0.6,
    knee_loss=9.9,
    knee_gain=0.0,
)


def named_homes() -> dict[str, HomeSpec]:
    """Return the homes by their names: two years of readings every five minutes."""
    base = HomeSpec(
        name="deep-perfect",
        kind="usual",
        seed=11,
        years=2.0,
        step_s=300,
        inner_s=300,
        pack=_PACK,
        control=_CONTROL,
        sensor=PERFECT,
        place=_PLACE,
        use=_USE,
        ageing=_AGEING,
    )
    high = replace(_CONTROL, reserve_ratio=0.33, winter_reserve_ratio=0.33)
    unlearned = replace(_CONTROL, learns="never", reserve_ratio=0.1, winter_reserve_ratio=0.1)
    cold = replace(_PLACE, latitude_deg=52.0, mean_c=9.0, season_c=13.0, room_ratio=0.0)
    hot = replace(_PLACE, latitude_deg=-25.0, mean_c=27.0, season_c=9.0, room_ratio=0.0)
    published = replace(
        _AGEING, law="naumann", calendar_ratio=0.7, cycle_ratio=0.7, cycle_power=0.5
    )
    busy = replace(_USE, mean_w=1100.0)
    nights = replace(_CONTROL, grid_hours=(0.5, 5.5))
    homes = (
        base,
        replace(base, name="deep-unlearned", seed=12, sensor=USUAL, control=unlearned),
        replace(base, name="never-low", kind="never-low", seed=13, sensor=USUAL, control=high),
        replace(base, name="tested", kind="tested", seed=14, sensor=USUAL,
                control=replace(high, test_every_days=90)),
        replace(base, name="never-full", kind="never-full", seed=15, sensor=USUAL,
                control=replace(_CONTROL, target_ratio=0.88)),
        replace(base, name="cold-garage", seed=16, sensor=USUAL, place=cold,
                pack=replace(_PACK, cells=15, lithium_share=0.4)),
        replace(base, name="hot-twice-a-day", kind="twice-a-day", seed=17, place=hot, use=busy,
                control=nights, ageing=published,
                sensor=replace(USUAL, offset_a=-0.25, gain=0.993)),
        replace(base, name="stops-and-gap", seed=18, sensor=replace(USUAL, long_gap_days=70.0),
                control=replace(_CONTROL, stops_at_tail=True, idle_from_battery=True),
                ageing=replace(_AGEING, knee_loss=0.03, knee_gain=10.0)),
    )  # fmt: skip
    return {home.name: home for home in homes}
