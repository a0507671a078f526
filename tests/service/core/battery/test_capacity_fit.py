"""The joint fit against balances whose truth is stated, and against equations done by hand."""

from dataclasses import fields, replace

import numpy as np
import pytest

from joulebook.core.battery.balances import Balances
from joulebook.core.battery.capacity_fit import CAPACITY_INFLATION, CapacityFit, fit_capacity
from joulebook.core.battery.capacity_knots import capacity_prior
from joulebook.core.battery.capacity_rows import ANCHORS, CLOSINGS, charge_rows
from joulebook.core.daily.energy import K90
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from tests.helpers.charge_balances import START_MS, Truth, balances, first_days

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


def _years(at_ms: Instants) -> Floats:
    since: Floats = (at_ms - START_MS) / (MS_PER_DAY * DAYS_PER_YEAR)
    return since


@pytest.fixture(scope="module")
def plain() -> CapacityFit:
    return fit_capacity(balances(Truth()))


def test_capacity_and_offset_are_found_within_what_is_claimed() -> None:
    for truth in DRAWN:
        fit = fit_capacity(balances(truth))
        at = fit.knots_ms[1:-1]
        held, held_u = fit.capacity_at(at)
        off = np.abs(held - truth.capacity_ah(_years(at)))
        assert np.all(off <= 2.6 * held_u)  # one of a hundred lies further off
        offset = fit.offset_at(at)
        assert offset == pytest.approx(truth.offset_at(_years(at)), abs=0.02)
        mean, mean_u = fit.mean_offset(at, np.ones(at.size))
        assert mean == pytest.approx(float(np.mean(offset)))
        assert abs(mean - np.mean(truth.offset_at(_years(at)))) < 3 * mean_u


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


def test_an_offset_may_step_where_the_wiring_was_changed() -> None:
    known = balances(Truth(offset_season_a=0.0))
    step_ms = START_MS + 400 * DAY
    later = known.full_to_full.from_ms >= step_ms
    low_later = known.full_to_low.full_ms >= step_ms
    way = known.low_to_full
    stepped = replace(
        known,
        full_to_full=replace(
            known.full_to_full,
            change_ah=known.full_to_full.change_ah + 0.25 * known.full_to_full.hours * later,
        ),
        full_to_low=replace(
            known.full_to_low,
            drawn_ah=known.full_to_low.drawn_ah - 0.25 * known.full_to_low.hours * low_later,
        ),
        low_to_full=replace(
            way, returned_ah=way.returned_ah + 0.25 * way.hours * low_later[way.low]
        ),
    )
    fit = fit_capacity(stepped, offset_steps_ms=[step_ms])
    around = np.array([step_ms - DAY, step_ms + DAY])
    assert fit.offset_at(around) == pytest.approx([0.1, 0.35], abs=0.01)
    # Balances across the step are in no row.
    rows = fit.rows
    across = (known.full_to_full.from_ms < step_ms) & (known.full_to_full.to_ms >= step_ms)
    closings = int(np.count_nonzero(rows.group == CLOSINGS))
    assert closings == known.full_to_full.from_ms.size - np.count_nonzero(across)


def test_a_new_battery_begins_anew() -> None:
    known = balances(Truth(years=2.0, reserve=0.06))
    changed_ms = START_MS + 365 * DAY
    later = known.full_to_low.full_ms >= changed_ms
    way = known.low_to_full
    bigger = replace(
        known,
        full_to_low=replace(
            known.full_to_low, drawn_ah=known.full_to_low.drawn_ah * np.where(later, 1.03, 1.0)
        ),
        low_to_full=replace(way, returned_ah=way.returned_ah * np.where(later[way.low], 1.03, 1.0)),
    )
    fit = fit_capacity(bigger, new_battery_ms=[changed_ms, START_MS - DAY])
    assert fit.knots_ms[0] == changed_ms
    assert fit.low_ms.min() > changed_ms
    truth = 1.03 * Truth().capacity_ah(np.array([1.5]))[0]
    held, _ = fit.capacity_at(np.array([START_MS + 547 * DAY]))
    assert held[0] == pytest.approx(truth, rel=0.01)
    # The offset is known from before, too.
    assert fit.offset_at(np.array([START_MS + 100 * DAY]))[0] == pytest.approx(0.12, abs=0.02)


def test_without_direct_closings_they_are_made_of_both_ways() -> None:
    known = balances(Truth())
    none = replace(
        known.full_to_full,
        **{f.name: getattr(known.full_to_full, f.name)[:0] for f in fields(known.full_to_full)},
    )
    fit = fit_capacity(replace(known, full_to_full=none))
    assert np.count_nonzero(fit.rows.anchor < 0) == known.low_to_full.low.size
    at = fit.knots_ms[1:-1]
    assert fit.offset_at(at) == pytest.approx(Truth().offset_at(_years(at)), abs=0.02)


def test_a_low_without_the_way_back_counts_alone() -> None:
    known = balances(Truth())
    some = known.low_to_full.low[::2]
    kept = replace(
        known.low_to_full,
        **{f.name: getattr(known.low_to_full, f.name)[::2] for f in fields(known.low_to_full)},
    )
    fit = fit_capacity(replace(known, low_to_full=kept))
    rows = charge_rows(replace(known, low_to_full=kept), fit.unknowns)
    low = rows.group == ANCHORS
    alone = low & ~np.isin(rows.anchor, some)
    assert rows.hours[alone] == pytest.approx(-known.full_to_low.hours[rows.anchor[alone]])
    # 13.2 h down and 9.6 h up: half of the difference.
    assert rows.hours[low & ~alone] == pytest.approx(-1.8)
    # By hand: the count of one way, 0.15 % of 200 Ah, and not the mean of two: 0.3²/2 more.
    together = charge_rows(known, fit.unknowns).sigma_ah
    own = np.flatnonzero(alone)
    first = int(np.flatnonzero(low)[0])
    before = together[together.size - known.full_to_low.low_ms.size + own - first]
    assert rows.sigma_ah[own] ** 2 - before**2 == pytest.approx(0.045)
    held, held_u = fit.capacity_at(fit.knots_ms[6:7])
    true = Truth().capacity_ah(_years(fit.knots_ms[6:7]))
    assert abs(held[0] - true[0]) < 2.6 * held_u[0]


def test_an_unread_temperature_makes_rows_less_certain() -> None:
    known = balances(Truth())
    blind = replace(
        known,
        full_to_low=replace(
            known.full_to_low,
            full_c=np.full_like(known.full_to_low.full_c, np.nan),
            low_c=np.full_like(known.full_to_low.low_c, np.nan),
        ),
    )
    with_it, without = fit_capacity(known), fit_capacity(blind)
    low = with_it.rows.group == ANCHORS
    # By hand: 200 Ah · 0.0015/°C · √2 · 8 °C = 3.39 Ah more.
    more = np.sqrt(without.rows.sigma_ah[low] ** 2 - with_it.rows.sigma_ah[low] ** 2)
    assert more == pytest.approx(3.394, abs=1e-3)
    assert without.rows.low_cold[low] == pytest.approx(-10.0)  # 15 °C is taken


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


def test_without_any_reading_all_is_as_it_was_held() -> None:
    nothing = first_days(balances(Truth()), 0)
    fit = fit_capacity(nothing)
    assert fit.rows.anchor.size == 0
    assert fit.capacity_ah[0] == pytest.approx(204.0)
    assert np.abs(fit.data_information).max() < 1e-9
    assert np.abs(fit.data_vector).max() < 1e-6
    assert fit.misfit_ratio == 0.0
    assert (fit.lows, fit.closings) == (0.0, 0.0)
    assert fit.offset_unseen_u_a == 0.0


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
        inside.append(abs(held[0] - truth.capacity_ah(_years(at))[0]) < K90 * held_u[0])
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
