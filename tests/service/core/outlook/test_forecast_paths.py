"""Futures: what is drawn, how widely, and that the same is drawn again."""

import numpy as np
import pytest

from joulebook.core.outlook.ageing import Laws, Mixture
from joulebook.core.outlook.forecast_evidence import WeighedLaws
from joulebook.core.outlook.forecast_paths import PATHS, Futures, draw_futures
from joulebook.core.outlook.forecast_usage import UsageHistory
from tests.helpers.fading import steady_usage

#: One law: a square root of time, 2.5 % in the first year at 25 °C, and 4 % by 1000 cycles.
ONE_LAW = Mixture(
    Laws(
        calendar=np.array([0.025]),
        cycles=np.array([0.04]),
        calendar_power=np.array([0.5]),
        cycle_power=np.array([1.0]),
    ),
    np.zeros(1),
)
CERTAIN = WeighedLaws(weight=np.ones(1), first_ratio=np.ones(1), first_sd_ratio=np.full(1, 1e-12))


def _usage(years: float) -> UsageHistory:
    return steady_usage(
        years=np.array([0.0, years]),
        thermal_years=np.array([0.0, years]),
        efc=np.array([0.0, 200 * years]),
        rates=(1.0, 200.0, 1e6),
        discharge_wh=1e6 * years,
    )


def _draw(record_years: float, *, measured: bool = False) -> Futures:
    years = np.array([record_years, 10.0])
    return draw_futures(ONE_LAW, CERTAIN, _usage(record_years), years, measured=measured)


def test_the_middle_of_one_law_is_that_law() -> None:
    # By hand: after 10 years 2.5 % · √10 and 4 % · 2 but for 0.97 of the cycles to come.
    futures = _draw(4.0)
    assert futures.soh_ratio.shape == (PATHS, 2)
    loss = 0.025 * np.sqrt(10) + 0.04 * (0.8 + 0.97 * 1.2)
    assert float(np.median(futures.soh_ratio[:, 1])) == pytest.approx(1 - loss, abs=2e-3)
    # Now is known: 2.5 % · √4 and 4 % · 0.8.
    assert futures.soh_ratio[:, 0].tolist() == pytest.approx([1 - 0.05 - 0.032] * PATHS)


def test_only_the_gain_widens_the_present() -> None:
    now = _draw(4.0, measured=True).soh_ratio[:, 0]
    # ±1 % uniform: a standard deviation of 1 % / √3, of 0.918.
    assert float(np.std(now)) == pytest.approx(0.01 / np.sqrt(3) * 0.918, rel=0.05)


def test_the_future_is_as_wide_as_its_page_says() -> None:
    # Without the knees: 8 % of what is still to be lost, 5 and 4 % of the rates.
    left = 0.025 * (np.sqrt(10) - 2) + 0.04 * 0.97 * 1.2
    found = 1 - 0.082 - _draw(4.0).soh_ratio[:, 1]
    middle = np.percentile(found, [16, 84])
    log_sd = float(np.diff(np.log(middle))[0]) / 2
    assert float(np.median(found)) == pytest.approx(left, rel=0.03)
    assert 0.05 < log_sd < 0.12


def test_seasons_not_seen_widen_a_short_record() -> None:
    widths = [float(np.std(np.log(_draw(record_years).use_factor))) for record_years in (0.5, 1.0)]
    # 0.18 of a swing, of which half a year leaves sin(π/2)/(π/2) = 0.637 open.
    assert widths == pytest.approx([np.hypot(0.04, 0.18 * 0.637), 0.04], rel=0.05)


def test_knees_make_a_tail_of_some_percent() -> None:
    found = 1 - _draw(1.0).soh_ratio[:, 1]
    plain = 0.025 * np.sqrt(10) + 0.04 * (0.2 + 0.97 * 1.8)
    # A knee at 8 %, the earliest, makes (exp(12 · 0.077) - 1) / 12 = 0.127 of the last 0.077.
    assert 0.005 < float(np.mean(found > plain * 1.5)) < 0.04


def test_the_same_is_drawn_again() -> None:
    assert _draw(2.0).soh_ratio.tolist() == _draw(2.0).soh_ratio.tolist()


def test_laws_are_drawn_as_often_as_they_are_believed() -> None:
    two = Mixture(
        Laws(
            calendar=np.array([1e-9, 0.2]),
            cycles=np.array([1e-9, 1e-9]),
            calendar_power=np.array([0.5, 0.5]),
            cycle_power=np.array([1.0, 1.0]),
        ),
        np.zeros(2),
    )
    weighed = WeighedLaws(
        weight=np.array([0.75, 0.25]), first_ratio=np.ones(2), first_sd_ratio=np.full(2, 1e-12)
    )
    futures = draw_futures(two, weighed, _usage(1.0), np.array([1.0, 2.0]), measured=False)
    assert int(np.count_nonzero(futures.soh_ratio[:, 0] < 0.9)) == PATHS // 4
