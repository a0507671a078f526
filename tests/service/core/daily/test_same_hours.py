"""Two days beside each other: every expected value is worked out beside its test."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from joulebook.core.curves import Curve, curve
from joulebook.core.daily.same_hours import (
    METHOD,
    NAMES,
    Shared,
    common_runs,
    compared,
    shared_of_days,
)
from joulebook.core.spans import Span

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
#: A week lies between the two days.
HERE, THERE = Span(7 * DAY_MS, 8 * DAY_MS), Span(0, DAY_MS)
PAIRS = [(HERE, THERE)]


def _steady(watts: float, start_ms: int, *, silent: Sequence[tuple[float, float]] = ()) -> Curve:
    """Return a power that stays the same all day, read every minute, but for some hours."""
    at_ms = start_ms + np.arange(0, DAY_MS + 1, 60_000, dtype=np.int64)
    hour = (at_ms - start_ms) / HOUR_MS
    there = np.ones(at_ms.size, dtype=np.bool_)
    for first, last in silent:
        there &= (hour <= first) | (hour >= last)
    return curve(at_ms[there], np.full(int(there.sum()), watts))


def _day(start_ms: int, **watts: Curve | float | None) -> dict[str, Curve | None]:
    return {
        kind: _steady(given, start_ms) if isinstance(given, float) else given
        for kind, given in {
            "pv": None,
            "load": None,
            "grid": None,
            "battery": None,
            **watts,
        }.items()
    }


def test_days_measured_whole_are_compared_whole() -> None:
    # By hand: 500 W for 24 h are 12 kWh, 400 W are 9.6: 2.4 more.
    # A meter within ±1 %, the same one on both days: 1.6449 · 0.01/√3 · 2.4 = 0.0228 kWh.
    days = [shared_of_days(_day(HERE.start_ms, load=500.0), _day(0, load=400.0), PAIRS)]
    found = compared(days, hours=24.0)["load_wh"]
    assert found.here_wh == pytest.approx(12_000)
    assert found.there_wh == pytest.approx(9_600)
    assert found.difference.value == pytest.approx(2_400)
    half = 1.6449 * 0.01 / math.sqrt(3) * 2_400
    assert found.difference.low == pytest.approx(2_400 - half)
    assert found.difference.high == pytest.approx(2_400 + half)
    assert found.difference.coverage_ratio == 1.0
    assert found.difference.method == METHOD


def test_only_hours_measured_on_both_days_count() -> None:
    # By hand: silent from 2 to 6 here and from 4 to 10 there leaves 0-2 and 10-24: 16 h.
    here = _day(HERE.start_ms, load=_steady(500.0, HERE.start_ms, silent=[(2, 6)]))
    there = _day(0, load=_steady(400.0, 0, silent=[(4, 10)]))
    found = compared([shared_of_days(here, there, PAIRS)], hours=24.0)["load_wh"]
    assert found.here_wh == pytest.approx(8_000)
    assert found.there_wh == pytest.approx(6_400)
    assert found.difference.coverage_ratio == pytest.approx(16 / 24)


def test_what_was_bought_is_apart_from_what_was_sold() -> None:
    # By hand: 12 h at +300 W and 12 h at -200 W against 24 h at +100 W.
    at_ms = HERE.start_ms + np.array([0, 11.999, 12, 24]) * HOUR_MS
    swings = Curve(at_ms.astype(np.int64), np.array([300.0, 300, -200, -200]), np.ones(3, np.bool_))
    shared = shared_of_days(_day(HERE.start_ms, grid=swings), _day(0, grid=100.0), PAIRS)
    assert shared["grid_import_wh"].here_wh == pytest.approx(3_600, rel=1e-3)
    assert shared["grid_export_wh"].here_wh == pytest.approx(2_400, rel=1e-3)
    assert shared["grid_import_wh"].there_wh == pytest.approx(2_400)
    assert shared["grid_export_wh"].there_wh == 0.0


def test_the_loss_keeps_of_every_meter_what_it_counted_more() -> None:
    # By hand: 1000 + 100 - 700 - 300 = 100 W lost here, 1000 + 50 - 700 - 300 = 50 W there.
    here = _day(HERE.start_ms, pv=1000.0, grid=100.0, load=700.0, battery=300.0)
    there = _day(0, pv=1000.0, grid=50.0, load=700.0, battery=300.0)
    shared = shared_of_days(here, there, PAIRS)["loss_wh"]
    assert shared.here_wh == pytest.approx(2_400)
    assert shared.there_wh == pytest.approx(1_200)
    above, below = zip(*shared.meters_wh, strict=True)
    assert above == pytest.approx((0.0, 1_200.0, 0.0, 0.0))  # pv, grid, load, battery
    assert below == (0.0, 0.0, 0.0, 0.0)
    # Of 1.2 kWh more through the grid's meter 1 % may be wrong, and of the others nothing.
    half = 1.6449 * 0.01 / math.sqrt(3) * 1_200
    found = compared([{"loss_wh": shared}], hours=24.0)["loss_wh"].difference
    assert found.high == pytest.approx(1_200 + half)


def test_a_loss_needs_a_battery_and_a_load() -> None:
    shared = shared_of_days(_day(HERE.start_ms, load=500.0), _day(0, load=400.0), PAIRS)
    assert set(shared) == {"load_wh"}
    told = compared([shared], hours=24.0)
    assert set(told) == set(NAMES)
    assert told["loss_wh"].here_wh is None
    assert told["loss_wh"].difference.reason == (
        "the site has no device for it, or no day that both have"
    )


def test_less_than_half_measured_in_both_is_not_compared() -> None:
    # By hand: from 10 on there is nothing there: 10 of 24 h are 41.7 %.
    there = _day(0, load=_steady(400.0, 0, silent=[(10, 25)]))
    days = [shared_of_days(_day(HERE.start_ms, load=500.0), there, PAIRS)]
    found = compared(days, hours=24.0)["load_wh"]
    assert (found.here_wh, found.difference.value) == (None, None)
    assert found.difference.reason == (
        "only 42% of the time was measured in both; half of it is needed"
    )
    # Of a day that has lasted for 12 hours so far it is enough.
    assert compared(days, hours=12.0)["load_wh"].difference.value == pytest.approx(1_000)


def test_before_anything_has_passed_nothing_is_compared() -> None:
    days = [shared_of_days(_day(HERE.start_ms, load=500.0), _day(0, load=400.0), PAIRS)]
    assert compared(days, hours=0.0)["load_wh"].difference.value is None
    assert shared_of_days(_day(HERE.start_ms, load=500.0), _day(0, load=400.0), []) == {}


def test_days_add_up_and_so_does_what_is_uncertain() -> None:
    day = Shared(300.0, 200.0, 4.0, 3.0, HOUR_MS, ((100.0, 0.0),))
    assert day + day == Shared(600.0, 400.0, 8.0, 6.0, 2 * HOUR_MS, ((200.0, 0.0),))
    # u² = (0.01/√3 · 200)² + 8² + 6² = 1.1547² + 10²
    found = compared([{"load_wh": day}, {"load_wh": day}], hours=2.0)["load_wh"].difference
    assert found.high is not None
    assert found.high - 200.0 == pytest.approx(1.6449 * math.sqrt(1.1547**2 + 100), rel=1e-5)


def test_runs_are_cut_at_the_holes_of_both() -> None:
    hours = [
        [
            ((first.start_ms - HERE.start_ms) / HOUR_MS, (first.end_ms - HERE.start_ms) / HOUR_MS)
            for first, _ in common_runs(
                _steady(1.0, HERE.start_ms, silent=here), _steady(1.0, 0, silent=there), PAIRS
            )
        ]
        for here, there in (
            ([(2, 6)], [(4, 10), (20, 21)]),
            ([], [(4, 10)]),
            ([(0, 25)], []),
            ([(1, 3), (5, 7)], [(3, 5)]),
        )
    ]
    assert hours == [
        [(0, 2), (10, 20), (21, 24)],
        [(0, 4), (10, 24)],
        [],
        [(0, 1), (7, 24)],
    ]


def test_each_run_is_as_long_on_both_days() -> None:
    pairs = [(Span(HERE.start_ms, HERE.start_ms + HOUR_MS), Span(HOUR_MS, 2 * HOUR_MS))]
    [(here, there)] = common_runs(_steady(1.0, HERE.start_ms), _steady(1.0, 0), pairs)
    assert here.length_s == there.length_s == 3600
    assert there.start_ms == HOUR_MS
