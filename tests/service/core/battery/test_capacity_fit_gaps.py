"""The joint fit of records in which something was changed on the way, or is missing."""

from dataclasses import fields, replace

import numpy as np
import pytest

from joulebook.core.battery.capacity_fit import fit_capacity
from joulebook.core.battery.capacity_rows import ANCHORS, CLOSINGS, charge_rows
from joulebook.core.history import MS_PER_DAY
from tests.helpers.charge_balances import START_MS, Truth, balances, first_days, years

DAY = int(MS_PER_DAY)


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
    assert fit.offset_at(at) == pytest.approx(Truth().offset_at(years(at)), abs=0.02)


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
    true = Truth().capacity_ah(years(fit.knots_ms[6:7]))
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
