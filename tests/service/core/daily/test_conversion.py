"""What the inverter takes, from inverters whose loss is known. Values are own arithmetic."""

from collections.abc import Callable
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from joulebook.core.daily.balance import Flows, common_flows
from joulebook.core.daily.conversion import (
    NightSums,
    conversion,
    idle,
    idle_of_day,
    night_readings,
    night_sums,
    quadratic_fit,
)
from joulebook.core.daily.efficiency import Pack
from joulebook.core.estimate import Estimate
from tests.helpers.curve_readings import line, seconds

PACK = Pack(200.0, 16)
Loss = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def _night(loss: Loss, *, hours: float = 8.0, base_w: float = 120.0, seed: int = 5) -> Flows:
    """A night on battery: loads from ``base_w`` up, read every two minutes, with meter noise."""
    random = np.random.default_rng(seed)
    at_s = np.arange(0, hours * 3600 + 1, 120)
    load = base_w + random.exponential(350, at_s.size)
    battery = -(load + loss(load)) + random.normal(0, 5, at_s.size)
    times = at_s.tolist()
    return common_flows(
        {
            "pv": line(times, np.zeros(at_s.size).tolist()),
            "grid": line(times, np.zeros(at_s.size).tolist()),
            "load": line(times, load.tolist()),
            "battery": line(times, battery.tolist()),
        },
        seconds(0, hours * 3600),
    )


def _quadratic(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return 42 + 0.02 * power + 8e-6 * power**2


# CV-84: 18.5 A · 52.27 V = 966.995 W DC for 900 W AC: 0.930718, idle draw included.
def test_a_steady_night() -> None:
    hours = [0, 3600, 7200, 10_800, 14_400, 18_000, 21_600]
    dc = 18.5 * 52.27
    assert dc == pytest.approx(966.995)
    flows = common_flows(
        {
            "pv": None,
            "grid": None,
            "load": line(hours, [900.0] * 7, 3600),
            "battery": line(hours, [-dc] * 7, 3600),
        },
        seconds(0, 21_600),
    )
    sums = night_sums(flows, PACK)
    assert (sums.dc_wh, sums.ac_wh, sums.hours) == pytest.approx((6 * dc, 5400.0, 6.0))
    number = conversion([sums], PACK, window_h=24.0)
    assert number.value == pytest.approx(0.930718, abs=1e-6)
    assert number.coverage_ratio == 0.25
    # Two meters of ±1 %: 0.9307 · 0.01 · √(2/3) = 0.0076. Offset: 0.9307 · 0.3 A/√3 · 51.2 V /
    # 967 W = 0.0085. Together 0.0114; · 1.6449 = 0.0188.
    assert number.low == pytest.approx(0.9307 - 0.0188, abs=1e-4)
    assert number.high == pytest.approx(0.9307 + 0.0188, abs=1e-4)


def test_what_the_grid_gives_does_not_pass_through_the_battery_side() -> None:
    times = [0, 300, 600]
    flows = common_flows(
        {
            "pv": None,
            "grid": line(times, [400.0] * 3),
            "load": line(times, [1000.0] * 3),
            "battery": line(times, [-650.0] * 3),
        },
        seconds(0, 600),
    )
    sums = night_sums(flows, PACK)
    assert sums.ac_wh == pytest.approx(100.0)
    assert sums.dc_wh == pytest.approx(650 / 6)


def test_light_and_little_discharge_are_left_out() -> None:
    times = [0, 300, 600, 900]
    flows = common_flows(
        {
            "pv": line(times, [0.0, 0.0, 500.0, 0.0]),
            "grid": None,
            "load": line(times, [900.0, 900.0, 900.0, 20.0]),
            "battery": line(times, [-967.0, -967.0, -400.0, -50.0]),
        },
        seconds(0, 900),
    )
    assert night_sums(flows, PACK).hours == pytest.approx(300 / 3600)


@pytest.mark.parametrize(
    ("nights", "pack", "words"),
    [
        ([NightSums(900.0, 850.0, 1.0)], PACK, "only 1.0 h in the dark on battery"),
        ([], PACK, "only 0.0 h"),
        ([NightSums(9000.0, 8500.0, 10.0)], None, "were not entered"),
    ],
)
def test_conversion_refuses(nights: list[NightSums], pack: Pack | None, words: str) -> None:
    number = conversion(nights, pack, window_h=24.0)
    assert number.value is None
    assert words in (number.reason or "")


def test_no_window_has_no_coverage() -> None:
    assert conversion([], PACK, window_h=0.0).coverage_ratio == 0.0


def test_an_idle_draw_is_found_under_a_curved_loss() -> None:
    number = idle_of_day(_night(_quadratic), PACK)
    assert number.value == pytest.approx(42.0, abs=4.0)
    # The offset's limit alone: 0.3 A/√3 · 51.2 V · 1.6449 = 14.6 W.
    assert number.high is not None
    assert number.low is not None
    assert 14.6 < (number.high - number.low) / 2 < 17.0


def test_a_few_wild_readings_do_not_move_it() -> None:
    flows = _night(_quadratic)
    flows.battery_w.value[10::25] -= 900.0
    assert idle_of_day(flows, PACK).value == pytest.approx(42.0, abs=4.0)


def test_readings_of_which_ever_more_are_wild_end_after_a_few_rounds() -> None:
    # Cauchy's noise has no variance: each round cuts some more, and there are four at most.
    flows = _night(_quadratic)
    noise = np.random.default_rng(13).standard_cauchy(flows.battery_w.value.size)
    flows.battery_w.value[:] -= 20.0 * noise
    assert idle_of_day(flows, PACK).value == pytest.approx(42.0, abs=8.0)


def test_a_fit_is_that_of_the_normal_equations_in_exact_fractions() -> None:
    # Loads that differ little from one another: the terms are nearly the same line.
    share = 0.8 + 0.2 * np.random.default_rng(2).random(40)
    loss = 40 + 60 * share + np.random.default_rng(3).normal(0, 5, 40)
    rows = [(Fraction(1), Fraction(each), Fraction(each * each)) for each in share.tolist()]
    matrix = [[sum(row[i] * row[j] for row in rows) for j in range(3)] for i in range(3)]
    right = [
        sum(row[i] * Fraction(each) for row, each in zip(rows, loss.tolist(), strict=True))
        for i in range(3)
    ]

    def minor(row: int, column: int) -> Fraction:
        (a, b), (c, d) = (
            [matrix[i][j] for j in range(3) if j != column] for i in range(3) if i != row
        )
        return Fraction(a * d - b * c)

    cofactors = [[(-1) ** (i + j) * minor(i, j) for j in range(3)] for i in range(3)]
    size = sum(matrix[0][j] * cofactors[0][j] for j in range(3))
    exact = [float(sum(cofactors[j][i] * right[j] for j in range(3)) / size) for i in range(3)]
    fit, spread = quadratic_fit(share, share * share, loss)
    assert fit == pytest.approx(exact, rel=1e-10)
    assert spread == pytest.approx(float(cofactors[0][0] / size), rel=1e-10)


@pytest.mark.parametrize(
    "share", [np.full(50, 0.5), np.repeat([0.25, 0.75], 25)], ids=["one load", "two loads"]
)
def test_where_loads_do_not_tell_the_terms_apart_the_smallest_fit_is_taken(
    share: NDArray[np.float64],
) -> None:
    loss = 40 + 60 * share
    fit, _ = quadratic_fit(share, share * share, loss)
    terms = np.column_stack([np.ones(50), share, share * share])
    # The Moore-Penrose inverse gives the smallest of all fits (Penrose 1956).
    assert fit == pytest.approx((np.linalg.pinv(terms) @ loss).tolist())


@pytest.mark.parametrize(("hole", "size"), list(product((1, 120, 239, 240), (1, 3))))
def test_night_readings_given_are_those_that_are_found(hole: int, size: int) -> None:
    flows = _night(_quadratic)
    flows.load_w.joined[hole - size : hole] = False
    night = night_readings(flows, PACK)
    assert night_sums(flows, PACK, night=night) == night_sums(flows, PACK)
    assert idle_of_day(flows, PACK, night=night) == idle_of_day(flows, PACK)


@pytest.mark.parametrize(
    "flows",
    [_night(_quadratic, hours=0.5), _night(_quadratic, base_w=800.0), _night(_quadratic, hours=0)],
    ids=["short", "no low load", "one reading"],
)
def test_idle_refuses_what_says_nothing(flows: Flows) -> None:
    number = idle_of_day(flows, PACK)
    assert number.value is None
    assert "in the dark on battery" in (number.reason or "")


def test_idle_of_a_window_is_the_median_of_its_days() -> None:
    days = [idle_of_day(_night(_quadratic, seed=seed), PACK) for seed in range(9)]
    number = idle(days, PACK)
    assert number.value == pytest.approx(42.0, abs=2.0)
    assert number.low is not None
    assert number.low == pytest.approx((number.value or 0.0) - 14.6, abs=1.0)


@pytest.mark.parametrize("pack", [PACK, None])
def test_idle_of_a_window_needs_days(pack: Pack | None) -> None:
    days: list[Estimate] = [idle_of_day(_night(_quadratic), PACK)] * (2 if pack else 9)
    assert "3 are needed" in (idle(days, pack).reason or "")
    assert idle([], pack).coverage_ratio == 0.0
