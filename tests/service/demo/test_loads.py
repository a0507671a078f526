from datetime import date, timedelta

import numpy as np
import pytest

from joulebook.core.spans import dates, local_day
from joulebook.demo import loads
from joulebook.demo.loads import Use, is_working_day, load_legs_w, uses
from joulebook.demo.studio import ZONE
from joulebook.demo.weather import instants

FIRST = date(2025, 9, 1)
START_MS = local_day(FIRST, ZONE).start_ms


def kwh(watts: np.ndarray) -> float:
    return float(watts.sum() / 30 / 1000)


def test_it_opens_from_tuesday_to_saturday() -> None:
    week = [date(2026, 3, 2) + timedelta(days=offset) for offset in range(7)]  # Monday first
    assert [is_working_day(day) for day in week] == [False, True, True, True, True, True, False]


@pytest.mark.parametrize("day", [date(2025, 12, 24), date(2026, 1, 2), date(2026, 8, 11)])
def test_it_is_closed_on_holidays(day: date) -> None:
    assert day.weekday() not in (6, 0)
    assert not is_working_day(day)


def test_a_use_counts_in_the_steps_that_it_touches(monkeypatch: pytest.MonkeyPatch) -> None:
    # By hand: 1500 W from 30 s before the second step to 60 s into the third, of 120 s each.
    kettle = Use(START_MS + 90_000, START_MS + 300_000, 1500.0, 0.0)
    monkeypatch.setattr(loads, "uses", lambda day: [kettle] if day == FIRST else [])
    l1, l2 = load_legs_w(instants(START_MS, 0, 1))
    standby_w = l1[-1]
    np.testing.assert_allclose(l1[:4] - standby_w, [375.0, 1500.0, 750.0, 0.0])
    assert not l2.any()


def test_a_use_within_one_step_counts_once(monkeypatch: pytest.MonkeyPatch) -> None:
    pot = Use(START_MS + 130_000, START_MS + 160_000, 0.0, 400.0)
    monkeypatch.setattr(loads, "uses", lambda day: [pot] if day == FIRST else [])
    _, l2 = load_legs_w(instants(START_MS, 0, 1))
    np.testing.assert_allclose(l2[:3], [0.0, 100.0, 0.0])


def test_pieces_give_the_same_load_as_the_whole() -> None:
    whole = load_legs_w(instants(START_MS, 60, 8))  # over the end of summer time, 2 November 2025
    pieces = [load_legs_w(instants(START_MS, first, 2)) for first in (60, 62, 64, 66)]
    for leg in (0, 1):
        np.testing.assert_array_equal(np.concatenate([piece[leg] for piece in pieces]), whole[leg])


def test_what_is_switched_on_is_all_in_the_sum() -> None:
    l1, l2 = load_legs_w(instants(START_MS, 10, 20))
    span_ms = (START_MS + 10 * 86_400_000, START_MS + 30 * 86_400_000)
    expected = 0.038 * 24 * 20  # stand-by
    for day in dates(FIRST + timedelta(days=8), FIRST + timedelta(days=32)):
        for use in uses(day):
            lasts_ms = min(use.end_ms, span_ms[1]) - max(use.start_ms, span_ms[0])
            expected += (use.l1_w + use.l2_w) / 1000 * max(lasts_ms, 0) / 3_600_000
    assert kwh(l1 + l2) == pytest.approx(expected, rel=1e-9)


def test_working_days_use_what_a_small_workshop_does() -> None:
    l1, l2 = load_legs_w(instants(START_MS, 0, 364))
    # Common practice, no source: a small workshop without its kiln, 5 to 20 kWh a working day.
    assert 8 < kwh(l1 + l2) / 364 < 12
    assert (l1 + l2).max() < 5000  # what the inverter can give
    assert 0.2 < l1.sum() / l2.sum() < 5  # both legs live


def test_evenings_keep_their_hour_when_clocks_change() -> None:
    # 2 November 2025 has 25 hours; the light of the next working day still ends at 18:24 or so.
    for day in (date(2025, 11, 1), date(2025, 11, 4)):
        [light] = [use for use in uses(day) if (use.l1_w, use.l2_w) == (70.0, 85.0)]
        from_midnight_h = (light.end_ms - local_day(day, ZONE).start_ms) / 3_600_000
        assert from_midnight_h == pytest.approx(18.4, abs=0.01)
