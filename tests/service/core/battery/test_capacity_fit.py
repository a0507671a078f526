"""The joint fit against balances whose truth is stated, and against equations done by hand."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.balances import Balances
from joulebook.core.battery.capacity_fit import CAPACITY_INFLATION, CapacityFit, fit_capacity
from joulebook.core.battery.capacity_knots import capacity_prior
from joulebook.core.daily.energy import K90
from joulebook.core.history import MS_PER_DAY
from tests.helpers.charge_balances import START_MS, Truth, balances, first_days, years

DAY = int(MS_PER_DAY)
#: Fixed packs: drawn once, and always the same.
DRAWN = [
    Truth(
        years=2.0, seed=seed, reserve=reserve, lithium=lithium, loss_power=power,
        offset_a=offset, curve_v=0.006, slow=slow, start_ratio=start, loss_a=loss,
        low_ratio=0.3,
    )
    for seed, (reserve, lithium, power, offset, slow, start, loss) in enumerate(
        [
            (0.05, 0.0, 0.5, 0.3, 0.2, 0.99, 0.030),
            (0.06, 1.0, 1.0, -0.3, -0.2, 1.05, 0.015),
            (0.08, 0.5, 0.7, 0.1, 0.0, 1.02, 0.040),
            (0.10, 0.2, 0.5, 0.0, 0.1, 1.00, 0.010),
            (0.12, 0.8, 1.0, -0.1, -0.1, 1.03, 0.020),
            (0.13, 0.4, 0.7, 0.2, 0.0, 1.04, 0.025),
        ]
    )
]  # fmt: skip


@pytest.fixture(scope="module")
def plain() -> CapacityFit:
    return fit_capacity(balances(Truth()))


def test_capacity_and_offset_are_found_within_what_is_claimed() -> None:
    for truth in DRAWN:
        fit = fit_capacity(balances(truth))
        at = fit.knots_ms[1:-1]
        held, held_u = fit.capacity_at(at)
        off = np.abs(held - truth.capacity_ah(years(at)))
        assert np.all(off <= 2.6 * held_u)  # one of a hundred lies further off
        offset = fit.offset_at(at)
        assert offset == pytest.approx(truth.offset_at(years(at)), abs=0.02)
        mean, mean_u = fit.mean_offset(at, np.ones(at.size))
        assert mean == pytest.approx(float(np.mean(offset)))
        assert abs(mean - np.mean(truth.offset_at(years(at)))) < 3 * mean_u


def test_deep_anchors_tell_more_than_shallow_ones() -> None:
    width = [
        float(fit.capacity_at(fit.knots_ms[-2:-1])[1][0])
        for fit in (
            fit_capacity(balances(Truth(reserve=reserve, reserve_spread=0.01)))
            for reserve in (0.05, 0.10, 0.15)
        )
    ]
    assert width[0] < width[1] < width[2]


def test_what_the_sensor_counts_too_much_goes_into_the_capacity() -> None:
    # The gain cannot be seen: a sensor that counts 1 % too much finds 1 % more capacity.
    right, wrong = (fit_capacity(balances(Truth(gain=gain))) for gain in (1.0, 1.01))
    ratio = wrong.capacity_ah[:-1] / right.capacity_ah[:-1]
    assert ratio == pytest.approx(1.01, abs=2e-3)


def test_one_bad_night_is_left_out(plain: CapacityFit) -> None:
    known = balances(Truth())
    drawn = known.full_to_low.drawn_ah.copy()
    drawn[40] += 60.0
    spoilt = fit_capacity(replace(known, full_to_low=replace(known.full_to_low, drawn_ah=drawn)))
    row = int(np.flatnonzero(spoilt.rows.anchor == 40)[0])
    assert spoilt.weight[row] == 0.0
    assert spoilt.rest_ah[row] == pytest.approx(30.0, abs=3.0)  # half, for the way up is right
    assert spoilt.capacity_ah == pytest.approx(plain.capacity_ah, abs=0.15)
    assert known.full_to_low.low_ms[40] not in spoilt.low_ms
    assert spoilt.low_ms.size == spoilt.low_states.size


def test_counts_and_misfit(plain: CapacityFit) -> None:
    known = balances(Truth())
    assert plain.rows.anchor.size == plain.weight.size == plain.rest_ah.size
    lows, closings = known.full_to_low.low_ms.size, known.full_to_full.from_ms.size
    assert 0.9 * lows < plain.lows <= lows
    assert 0.9 * closings < plain.closings <= closings
    assert 0.0005 < plain.misfit_ratio < 0.004
    assert plain.knots_years[:3] == pytest.approx([0, 60 / 365.25, 120 / 365.25])


def test_derivatives_are_those_of_the_equations() -> None:
    # Against differences, at an arbitrary place.
    fit = fit_capacity(first_days(balances(Truth(seed=3)), 100))
    rng = np.random.default_rng(5)
    spread = np.sqrt(np.diag(fit.covariance))
    value = fit.value + spread * rng.standard_normal(fit.value.size)
    _, slopes = fit.rows.equations(fit.unknowns, value)
    for number in range(fit.value.size):
        step = np.zeros(fit.value.size)
        step[number] = 1e-3 * spread[number]
        up, _ = fit.rows.equations(fit.unknowns, value + step)
        down, _ = fit.rows.equations(fit.unknowns, value - step)
        found = -(up - down) / (2 * step[number])
        size = np.max(np.abs(found)) + 1e-9
        # The slope of the curve is a mean over 2 % of charge, so it is not exactly the same.
        tight = number not in {*range(*fit.unknowns.curve.indices(value.size))}
        tight &= number not in {*range(*fit.unknowns.shared.indices(value.size))}
        tight &= number != fit.unknowns.slow
        assert np.max(np.abs(found - slopes[:, number])) <= (1e-6 if tight else 0.25) * size


def test_the_readings_alone_and_what_was_held_make_the_fit(plain: CapacityFit) -> None:
    own = plain.unknowns.capacity
    held = capacity_prior(plain.unknowns)
    before = held.terms[:, own]
    information = plain.data_information + before.T @ before
    vector = plain.data_vector + before.T @ held.target
    assert np.linalg.inv(information) == pytest.approx(
        plain.covariance[own, own], rel=1e-3, abs=1e-5
    )
    assert np.linalg.solve(information, vector) == pytest.approx(plain.capacity_ah, abs=0.02)
    assert np.linalg.eigvalsh(plain.data_information)[0] >= -1e-9
    assert plain.capacity_covariance == pytest.approx(
        CAPACITY_INFLATION**2 * plain.covariance[own, own]
    )


def test_what_hours_cannot_be_told_from_stays_in_the_offset(plain: CapacityFit) -> None:
    # 0.1 % of what goes in: about 135 Ah a day over 22.8 h of it, 0.006 A.
    rows = plain.rows
    into = rows.charged_ah[rows.anchor < 0].mean() / 22.8
    assert plain.offset_unseen_u_a == pytest.approx(0.001 * into)
    _, u = plain.mean_offset(plain.knots_ms, np.ones(plain.knots_ms.size))
    assert u > plain.offset_unseen_u_a


def test_ninety_per_cent_intervals_hold_nine_times_of_ten() -> None:
    # Sixty packs drawn with a fixed seed; the middle of each record.
    rng, inside = np.random.default_rng(11), []
    for seed in range(60):
        truth = Truth(
            years=1.0,
            seed=seed,
            reserve=rng.uniform(0.04, 0.14),
            lithium=rng.uniform(0, 1),
            low_ratio=rng.uniform(0.1, 0.8),
            offset_a=rng.uniform(-0.3, 0.3),
            start_ratio=rng.normal(1.02, 0.03),
            curve_v=rng.uniform(0.003, 0.010),
            slow=rng.uniform(-0.3, 0.3),
        )
        fit = fit_capacity(balances(truth))
        at = np.array([START_MS + 180 * DAY])
        held, held_u = fit.capacity_at(at)
        inside.append(abs(held[0] - truth.capacity_ah(years(at))[0]) < K90 * held_u[0])
    # These packs are kinder than simulated homes, on which the inflation was found.
    assert np.mean(inside) >= 0.86


def test_a_record_of_other_rated_charge_scales() -> None:
    small, large = Truth(rated_ah=100.0, count_ah=0.125), Truth(rated_ah=400.0, count_ah=0.5)
    found = [fit_capacity(_scaled(balances(truth))).capacity_ah for truth in (small, large)]
    assert found[1] / found[0] == pytest.approx(4.0, rel=0.01)


def _scaled(known: Balances) -> Balances:
    """Return the same with a resistance that goes with the charge."""
    ohm = known.full_to_low.resistance_ohm * 200 / known.rated_ah
    return replace(known, full_to_low=replace(known.full_to_low, resistance_ohm=ohm))
