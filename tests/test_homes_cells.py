"""The simulated homes' cells: rest voltage, resistance, polarisation, charge that is not lost."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.history import Floats
from tests.helpers.homes.cell import Curves, smooth_through
from tests.helpers.homes.named import named_homes
from tests.helpers.homes.packs import Packs
from tests.helpers.homes.spec import HomeSpec

BASE = named_homes()["deep-perfect"]
OPEN = np.array([False])


def with_pack(**changes: object) -> HomeSpec:
    return replace(BASE, pack=replace(BASE.pack, **changes))  # type: ignore[arg-type]


def one_pack(spec: HomeSpec, temperature_c: float = 25.0) -> Packs:
    return Packs([spec], step_s=60, temperature_c=np.array([temperature_c]))


def hold(packs: Packs, power_w: float, hours: float) -> tuple[Floats, Floats]:
    """Ask for a power for some hours; return currents and voltages."""
    currents, voltages = [], []
    for _ in range(round(hours * 60)):
        packs.step(np.array([power_w]), OPEN)
        currents.append(packs.current_a[0])
        voltages.append(packs.voltage_v[0])
    return np.array(currents), np.array(voltages)


# CLFP_Sony_US26650_OCV.csv of simses 1.3.12, 16 cells (CV-116).
PLATEAU = {0.2: 51.69, 0.3: 52.28, 0.4: 52.63, 0.5: 52.79, 0.6: 52.85, 0.7: 52.94, 0.8: 53.2}


def rest_v(spec: HomeSpec, x: float) -> float:
    return float(Curves([spec]).rest_v(np.array([x]))[0])


def test_all_the_way_to_the_published_cell_is_its_plateau() -> None:
    spec = with_pack(curve_error_v=0.0, curve_towards_small_cell=1.0)
    assert {x: rest_v(spec, x) for x in PLATEAU} == pytest.approx(PLATEAU, abs=0.01)
    assert rest_v(spec, 0.7) - rest_v(spec, 0.4) == pytest.approx(0.30, abs=0.02)


def test_homes_scatter_around_the_published_plateau() -> None:
    # Within 40 mV a cell: large cells are up to 21 mV above the small one, and have errors.
    for seed in range(12):
        spec = replace(with_pack(curve_error_v=0.006), seed=seed)
        for x, volts in PLATEAU.items():
            assert rest_v(spec, x) == pytest.approx(volts, abs=0.04 * 16)


def test_a_curve_rises_all_the_way_and_ends_where_charging_does() -> None:
    spec = with_pack(curve_error_v=0.009)
    curve = Curves([spec])
    volts = [curve.rest_v(np.array([x]))[0] for x in np.linspace(-0.03, 1.03, 300)]
    assert np.all(np.diff(volts) >= 0)
    end_v = 16 * (spec.control.full_cell_v - spec.pack.hysteresis_v)
    assert rest_v(spec, 1.0) == pytest.approx(end_v, abs=0.01)


def test_lost_lithium_moves_the_middle_step_and_lost_material_does_not() -> None:
    def step_below_full(lithium_share: float) -> float:
        curve = Curves([with_pack(curve_error_v=0.0, lithium_share=lithium_share)])
        curve.age(np.array([0.2]))
        x = np.linspace(0.5, 0.9, 2000)
        volts = np.array([curve.rest_v(np.array([each]))[0] for each in x])
        return float(1 - x[np.argmin(np.abs(volts - 3.3165 * 16))])

    # By hand: the step lies at 0.625 of the first charge; with 0.2 of that lost by lithium it
    # lies at 0.625 of the first, so 0.175 below full, or 0.219 of what is left.
    assert step_below_full(0.0) == pytest.approx(0.375, abs=0.01)
    assert step_below_full(1.0) == pytest.approx(0.175 / 0.8, abs=0.01)


def test_a_smooth_curve_goes_through_its_points_and_never_overshoots() -> None:
    x, y = (0.0, 1.0, 2.0, 4.0), (0.0, 0.1, 2.0, 2.1)
    assert smooth_through(x, y, np.array(x)) == pytest.approx(y)
    assert np.all(np.diff(smooth_through(x, y, np.linspace(-1, 5, 400))) >= 0)


def test_charge_is_neither_made_nor_lost_but_as_said() -> None:
    spec = with_pack(coulombic_ratio=0.003, hidden_a=0.05)
    packs = one_pack(spec)
    before = packs.charge_ah[0]
    into, _ = hold(packs, 2500.0, 1.0)
    out, _ = hold(packs, -3000.0, 2.0)
    rest, _ = hold(packs, 0.0, 5.0)
    assert np.all(into > 0)
    assert np.all(out < 0)
    assert np.all(rest == 0)
    expected = into.sum() / 60 * 0.997 + out.sum() / 60 - 0.05 * 8
    assert packs.charge_ah[0] - before == pytest.approx(expected, abs=1e-9)


def test_full_to_empty_is_the_capacity() -> None:
    packs = one_pack(with_pack(hidden_a=0.0, curve_error_v=0.0))
    hold(packs, 2000.0, 12.0)
    assert packs.current_a[0] < 0.001 * packs.capacity_ah[0]
    assert packs.charge_ah[0] == pytest.approx(packs.capacity_ah[0], rel=0.002)
    currents, volts = hold(packs, -150.0, 75.0)
    # Until the cells would rest at 2.72 V, but for the branch (8 mV) and 3 A through 25 mOhm.
    ended = np.flatnonzero(volts < 16 * (2.72 - 0.008) - 0.075)[0]
    assert -currents[:ended].sum() / 60 == pytest.approx(packs.capacity_ah[0], rel=0.002)


def test_power_is_what_was_asked_and_voltage_is_held() -> None:
    packs = one_pack(BASE)
    packs.step(np.array([-2000.0]), OPEN)
    assert packs.voltage_v[0] * packs.current_a[0] == pytest.approx(-2000.0)
    _, volts = hold(packs, 3000.0, 8.0)
    assert volts.max() <= packs.full_v[0] + 1e-9
    packs.step(np.array([3000.0]), np.array([True]))
    assert packs.current_a[0] == 0


def test_resistance_as_its_two_currents_show_it() -> None:
    # d.c. resistance by two currents, (U1 - U2)/(I2 - I1) (IEC 61960-3, from memory; CV-90).
    first, second = one_pack(BASE), one_pack(BASE)
    first.step(np.array([-500.0]), OPEN)
    second.step(np.array([-4000.0]), OPEN)
    shown = (first.voltage_v - second.voltage_v) / (first.current_a - second.current_a)
    assert shown[0] == pytest.approx(BASE.pack.resistance_ohm, rel=0.01)


def test_it_grows_in_the_cold_and_with_age() -> None:
    packs = one_pack(BASE, 5.0)
    cold = packs.resistance_ohm(np.array([5.0]))[0] / packs.resistance_ohm(np.array([25.0]))[0]
    assert cold == pytest.approx(np.exp(20 * BASE.pack.resistance_per_c))
    packs.ageing.loss = np.array([0.1])
    grown = packs.resistance_ohm(np.array([25.0]))[0] / BASE.pack.resistance_ohm
    assert grown == pytest.approx(1 + 0.1 * BASE.pack.resistance_per_loss)


def test_after_a_load_the_voltage_climbs_for_half_an_hour() -> None:
    packs = one_pack(BASE)
    hold(packs, -4000.0, 0.7)
    current, ohm = packs.current_a[0], packs.now_ohm[0]
    _, volts = hold(packs, 0.0, 2.0)
    # All of the slow part: 0.2 and 0.3 of the ohmic one, nearly settled after 42 minutes.
    assert volts[-1] - volts[0] == pytest.approx(-current * ohm * 0.42, rel=0.15)


def test_the_branch_is_left_by_charge_that_goes_through() -> None:
    packs = one_pack(with_pack(resistance_ohm=1e-6, curve_error_v=0.0))
    packs.charge_ah[:] = 0.6 * packs.capacity_ah
    hold(packs, 1000.0, 1.5)
    up_v, up_ah = packs.voltage_v[0], packs.charge_ah[0]
    hold(packs, 1000.0, 1.5)
    while packs.charge_ah[0] > up_ah:
        packs.step(np.array([-1000.0]), OPEN)
    # Twice 8 mV a cell between the branches, of which a twentieth is left to go.
    assert up_v - packs.voltage_v[0] == pytest.approx(16 * 0.016, rel=0.1)


def test_below_freezing_nothing_is_charged() -> None:
    packs = one_pack(BASE, -3.0)
    packs.step(np.array([2000.0]), OPEN)
    assert packs.current_a[0] == 0
    packs.temperature_c[:] = 3.0
    packs.follow_temperature(np.array([3.0]))
    packs.step(np.array([4000.0]), OPEN)
    assert 0 < packs.current_a[0] < 0.25 * BASE.pack.rated_ah
