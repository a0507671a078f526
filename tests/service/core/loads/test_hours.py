"""Hours left: by hand, and against what is common practice of inverters."""

import numpy as np
import pytest

from joulebook.core.curves import Curve, curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.loads.hours import (
    FEWEST_NIGHTS,
    OwnLoss,
    drawn_for,
    hours_left,
    load_now,
    night_load,
)
from joulebook.core.spans import Span

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


def given(value: float, low: float | None = None, high: float | None = None) -> Estimate:
    return Estimate(value=value, low=low, high=high, coverage_ratio=1.0, method="test-1")


def days(count: int) -> list[Span]:
    return [Span(day * DAY_MS, (day + 1) * DAY_MS) for day in range(count)]


def house(count: int, night_w: float = 400.0) -> tuple[Curve, Curve]:
    """Return load and panels, each five minutes: dark from 18 to 6, one night 100 W a day more."""
    at_ms = np.arange(0, count * DAY_MS + 1, HOUR_MS // 12, dtype=np.int64)
    hour = at_ms / HOUR_MS % 24
    sunny = (hour >= 6) & (hour < 18)
    night = (at_ms - DAY_MS // 2) // DAY_MS
    load = np.where(sunny, 3000.0, night_w + 100 * night)
    return curve(at_ms, load), curve(at_ms, np.where(sunny, 2000.0, 0.0))


def test_energy_over_power_is_time() -> None:
    # By hand: 5000 Wh at 500 W.
    found = hours_left(given(5000, 4500, 5500), given(500, 500, 500), kept_wh=0.0)
    assert (found.value, found.low, found.high) == (10.0, 9.0, 11.0)
    assert found.method == "loads-1"


def test_what_is_kept_is_not_used() -> None:
    # By hand: 4000 Wh at 500 W; the energy's 500 Wh either way stay.
    found = hours_left(given(5000, 4500, 5500), given(500, 500, 500), kept_wh=1000.0)
    assert (found.value, found.low, found.high) == (8.0, 7.0, 9.0)
    assert hours_left(given(800), given(500), kept_wh=1000.0).value == 0.0


def test_an_uncertain_load_widens_it_to_its_own_side() -> None:
    found = hours_left(given(5000), given(500, 400, 1000), kept_wh=0.0)
    assert (found.value, found.low, found.high) == (10.0, 5.0, 12.5)


def test_both_uncertainties_join_as_squares() -> None:
    # 3 h of the energy and 4 h of the load are 5 h.
    found = hours_left(given(5000, 3500, 5000), given(500, 500, 500 / 0.6), kept_wh=0.0)
    assert found.low == pytest.approx(5.0)


def test_it_tells_which_of_the_two_is_missing() -> None:
    unknown = refused("it was not read", method="test-1")
    assert hours_left(unknown, given(500), kept_wh=0.0).reason == "it was not read"
    assert hours_left(given(5000), unknown, kept_wh=0.0).reason == "it was not read"


def test_next_to_no_load_gives_no_hours() -> None:
    found = hours_left(given(5000), given(5.0), kept_wh=0.0)
    assert found.reason == "hardly anything is drawn, so it would last very long"


def test_what_an_inverter_takes_lies_around_common_practice() -> None:
    # Common practice, no source (CV-141): about 900 W AC take 967 W DC, 93 % with the idle draw.
    found = drawn_for(given(900.0, 900.0, 900.0), None)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 967 < found.high


def test_measured_losses_are_a_line_between_no_load_and_the_usual_one() -> None:
    # By hand: 30 W at none, 100 W at 1000 W, so 65 W at 500 W.
    own = OwnLoss(idle_w=30.0, loss_w=100.0, load_w=1000.0, half_w=6.0)
    found = drawn_for(given(500.0, 500.0, 500.0), own)
    assert (found.value, found.low, found.high) == (565.0, 559.0, 571.0)
    assert drawn_for(refused("no load", method="test-1"), own).reason == "no load"


def test_the_load_of_now_is_the_mean_of_a_quarter_of_an_hour() -> None:
    at_ms = np.arange(0, HOUR_MS + 1, 60_000, dtype=np.int64)
    line = curve(at_ms, np.where(at_ms >= HOUR_MS - 900_000, 600.0, 100.0))
    found = load_now(line, HOUR_MS)
    assert found.value == pytest.approx(600.0)
    # 1.6449 times 600 W times 1 % over the square root of three.
    assert found.high == pytest.approx(600 + 1.6449 * 6 / 3**0.5)
    assert load_now(line, 3 * HOUR_MS).reason == (
        "the load was not measured in the last quarter of an hour"
    )


def test_a_usual_night_is_the_median_of_nights() -> None:
    # Eleven whole nights, 400 to 1400 W; the first, of which only the morning is there, is none.
    load, pv = house(12)
    found = night_load(load, pv, days(12))
    assert found.nights == 11
    assert found.w.value == pytest.approx(900, rel=0.02)
    # By the quantiles of 400, 500 … 1400: a tenth of the way from end to end.
    assert found.tenth_w == pytest.approx(500, rel=0.02)
    assert found.ninetieth_w == pytest.approx(1300, rel=0.02)
    assert found.w.low == pytest.approx(450, rel=0.02)
    assert found.w.high == pytest.approx(1350, rel=0.02)
    assert found.w.coverage_ratio == 1.0


def test_without_panels_every_hour_is_dark() -> None:
    load, _ = house(12)
    found = night_load(load, None, days(12))
    assert found.w.value == pytest.approx((3000 + 900) / 2, rel=0.02)


def test_too_few_nights_tell_nothing() -> None:
    load, pv = house(FEWEST_NIGHTS)
    found = night_load(load, pv, days(FEWEST_NIGHTS))
    assert (found.w.value, found.nights) == (None, FEWEST_NIGHTS - 1)
    assert found.w.reason == "4 dark nights were measured, and 5 are needed"
    nothing = curve(np.empty(0, np.int64), np.empty(0))
    assert night_load(nothing, None, days(12)).nights == 0
