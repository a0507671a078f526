"""Where the unknowns stand, and what is held of them, by hand."""

import numpy as np
import pytest

from joulebook.core.battery.capacity_knots import (
    Unknowns,
    between_knots,
    capacity_prior,
    capacity_shares,
    offset_shares,
    place_unknowns,
    prior,
    start_values,
)
from joulebook.core.history import MS_PER_DAY
from joulebook.core.robust import least_squares

DAY = int(MS_PER_DAY)


def _unknowns(days: int, *, steps: tuple[int, ...] = ()) -> Unknowns:
    return place_unknowns(
        0,
        days * DAY,
        capacity_from_ms=0,
        steps_ms=[step * DAY for step in steps],
        rated_ah=200.0,
    )


def test_dates_stay_put_while_a_record_grows() -> None:
    early, late = _unknowns(300).capacity_ms, _unknowns(301).capacity_ms
    assert early.tolist() == [day * DAY for day in (0, 60, 120, 180, 240, 300)]
    assert late.tolist() == [*early.tolist(), 360 * DAY]


def test_the_shortest_record_has_two_knots() -> None:
    nothing = _unknowns(0)
    assert nothing.capacity_ms.tolist() == [0, 60 * DAY]
    assert nothing.offset_ms.tolist() == [0, 91 * DAY]


def test_every_unknown_has_its_own_place() -> None:
    unknowns = _unknowns(100)
    whole = np.arange(unknowns.size)
    spread = [whole[part] for part in (unknowns.capacity, unknowns.offset, unknowns.curve)]
    single = [unknowns.loss, unknowns.full_cold, unknowns.low_cold, unknowns.slow]
    places = np.concatenate([*spread, whole[unknowns.shared], single, [unknowns.kept_below]])
    assert places.tolist() == whole.tolist()


def test_lines_between_knots() -> None:
    rows = between_knots(np.array([0.0, 10.0, 20.0]), np.array([-5.0, 0.0, 4.0, 15.0, 20.0, 30.0]))
    assert rows.tolist() == [
        [1.0, 0.0, 0.0],  # before the first it is the first
        [1.0, 0.0, 0.0],
        [0.6, 0.4, 0.0],
        [0.0, 0.5, 0.5],
        [0.0, 0.0, 1.0],
        [0.0, 0.0, 1.0],
    ]


def test_capacity_before_a_new_battery_is_that_of_its_first_day() -> None:
    unknowns = place_unknowns(0, 400 * DAY, capacity_from_ms=300 * DAY, steps_ms=[], rated_ah=200.0)
    assert unknowns.capacity_ms.tolist() == [300 * DAY, 360 * DAY, 420 * DAY]
    shares = capacity_shares(unknowns, np.array([10 * DAY, 330 * DAY]))
    assert shares.tolist() == [[1.0, 0.0, 0.0], [0.5, 0.5, 0.0]]


def test_the_offset_steps_where_it_may() -> None:
    unknowns = _unknowns(100, steps=(50, 50, 0, 100))  # at the ends nothing can step
    assert unknowns.steps_ms.tolist() == [50 * DAY]
    assert unknowns.offset_ms.tolist() == [0, 91 * DAY, 50 * DAY, 141 * DAY]
    before, at, after = offset_shares(unknowns, np.array([49, 50, 51]) * DAY)
    assert before[2:].tolist() == [0.0, 0.0]
    assert at.tolist() == [0.0, 0.0, 1.0, 0.0]
    assert after[:2].tolist() == [0.0, 0.0]
    for row in (before, at, after):
        assert row.sum() == pytest.approx(1.0)


def test_what_is_held_without_any_reading() -> None:
    unknowns = _unknowns(730)
    held = prior(unknowns)
    found = least_squares(held.terms, held.target)
    u = np.sqrt(np.diag(found.covariance))
    capacity = found.value[unknowns.capacity]
    assert capacity[0] == pytest.approx(204.0)  # 1.02 of 200
    assert u[0] == pytest.approx(8.0, rel=1e-6)  # ± 4 %
    assert np.diff(capacity) == pytest.approx(-0.03 * 200 * 60 / 365.25)
    assert found.value[unknowns.offset] == pytest.approx(0.0, abs=1e-9)
    assert u[unknowns.offset][0] == pytest.approx(0.3)
    assert u[unknowns.offset][1] == pytest.approx(np.hypot(0.3, 0.02))
    assert u[unknowns.curve] == pytest.approx(0.008)  # at each state, whatever the others
    assert u[unknowns.shared] == pytest.approx(0.0009)
    assert found.value[unknowns.loss] == pytest.approx(0.0025)
    assert u[unknowns.kept_below] == pytest.approx(0.3)


def test_after_a_step_the_offset_is_as_little_known_as_at_first() -> None:
    unknowns = _unknowns(100, steps=(50,))
    held = prior(unknowns)
    found = least_squares(held.terms, held.target)
    own = found.covariance[unknowns.offset, unknowns.offset]
    assert own[2, 2] == pytest.approx(0.09)
    assert own[0, 2] == pytest.approx(0.0, abs=1e-12)


def test_the_capacity_may_bend_most_at_the_start() -> None:
    unknowns = _unknowns(1200)
    held = capacity_prior(unknowns)
    bends = held.terms[unknowns.capacity_ms.size :]
    # By hand: knots 60 d apart; (0.006 + 0.020)·200·0.1643 + 0.02 = 0.874 Ah at first, and
    # (0.006 + 0.020/11)·200·0.1643 + 0.02 = 0.277 Ah at the eleventh.
    assert 1 / bends[0, 0] == pytest.approx(0.874, abs=5e-4)
    assert 1 / bends[10, 10] == pytest.approx(0.277, abs=5e-4)


def test_the_fit_begins_with_a_healthy_pack() -> None:
    unknowns = _unknowns(30 * 365)
    value = start_values(unknowns)
    assert value[0] == pytest.approx(204.0)
    assert value[unknowns.capacity].min() == pytest.approx(0.52 * 200)  # never below half
    assert value[unknowns.slow] == 0.0
