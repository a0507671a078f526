"""Least squares against certified regressions, a worked robust one, and errors in both axes."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from joulebook.core.history import Floats
from joulebook.core.robust import (
    NEVER,
    Robust,
    Rows,
    gauss_newton,
    huber_weights,
    least_squares,
    mad_scale,
)

DATA = Path(__file__).parents[2] / "data"


def _read(name: str) -> dict[str, Any]:
    whole: dict[str, Any] = json.loads((DATA / name).read_text(encoding="utf-8"))
    return whole


def _residual_sd(terms: Floats, target: Floats, value: Floats) -> float:
    rest = target - terms @ value
    return float(np.sqrt(rest @ rest / (target.size - value.size)))


# CV-100: NIST StRD, Norris, certified values.
def test_norris() -> None:
    y, x = np.array(_read("norris.json")["rows"]).T
    terms = np.column_stack([np.ones(x.size), x])
    found = least_squares(terms, y)
    sd = _residual_sd(terms, y, found.value)
    assert found.value == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert sd * np.sqrt(np.diag(found.covariance)) == pytest.approx(
        [0.232818234301152, 0.429796848199937e-3], rel=1e-9
    )


# CV-106: statsmodels `get_prediction(500).conf_int(obs=True, alpha=.1)` on the same data; the
# quantile of Student's t for 34 degrees of freedom is 1.6909242552.
def test_norris_at_a_new_point() -> None:
    y, x = np.array(_read("norris.json")["rows"]).T
    terms = np.column_stack([np.ones(x.size), x])
    found = least_squares(terms, y)
    sd = _residual_sd(terms, y, found.value)
    for at, mean, line, point in (
        (500.0, 500.796086, 0.256179, 1.517898),
        (1500.0, 1502.912904, 0.824121, 1.708087),
    ):
        there = np.array([1.0, at])
        of_line = sd * np.sqrt(there @ found.covariance @ there)
        assert there @ found.value == pytest.approx(mean, abs=1e-6)
        assert 1.6909242552 * of_line == pytest.approx(line, abs=1e-6)
        assert 1.6909242552 * np.hypot(of_line, sd) == pytest.approx(point, abs=1e-6)


# CV-101, CV-101b: NIST StRD, NoInt1 and NoInt2, certified values.
@pytest.mark.parametrize(
    ("x", "y", "slope", "slope_u", "sd"),
    [
        (
            np.arange(60.0, 71.0),
            np.arange(130.0, 141.0),
            2.07438016528926,
            0.0165289256198347,
            3.56753034006338,
        ),
        (
            np.array([4.0, 5.0, 6.0]),
            np.array([3.0, 4.0, 4.0]),
            0.727272727272727,
            0.0420827318078432,
            0.369274472937998,
        ),
    ],
    ids=["NoInt1", "NoInt2"],
)
def test_lines_through_zero(x: Floats, y: Floats, slope: float, slope_u: float, sd: float) -> None:
    found = least_squares(x[:, None], y)
    rest = _residual_sd(x[:, None], y, found.value)
    assert found.value[0] == pytest.approx(slope, rel=1e-9)
    assert rest == pytest.approx(sd, rel=1e-9)
    assert rest * np.sqrt(found.covariance[0, 0]) == pytest.approx(slope_u, rel=1e-9)


# CV-102: NIST StRD, Longley, certified values: nearly dependent columns.
def test_longley() -> None:
    rows = np.array(_read("longley.json")["rows"])
    terms = np.column_stack([np.ones(len(rows)), rows[:, 1:]])
    found = least_squares(terms, rows[:, 0])
    sd = _residual_sd(terms, rows[:, 0], found.value)
    assert sd == pytest.approx(304.854073561965, rel=1e-6)
    certified = [
        (-3482258.63459582, 890420.383607373),
        (15.0618722713733, 84.9149257747669),
        (-0.0358191792925910, 0.0334910077722432),
        (-2.02022980381683, 0.488399681651699),
        (-1.03322686717359, 0.214274163161675),
        (-0.0511041056535807, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    ]
    assert found.value == pytest.approx([value for value, _ in certified], rel=1e-6)
    assert sd * np.sqrt(np.diag(found.covariance)) == pytest.approx(
        [value_u for _, value_u in certified], rel=1e-6
    )


# CV-104: statsmodels 0.15.0 `RLM(HuberT())` of Brownlee's stack loss, to its printed digits.
def test_stack_loss_with_huber_weights() -> None:
    rows = np.array(_read("stackloss.json")["rows"])
    target, terms = rows[:, 0], np.column_stack([np.ones(len(rows)), rows[:, 1:]])
    plain = least_squares(terms, target).value
    assert plain == pytest.approx([-39.9196744, 0.7156402, 1.2952861, -0.1521225], rel=1e-6)
    found = gauss_newton(
        lambda value: (target - terms @ value, terms),
        plain,
        sigma=np.ones(target.size),
        group=np.zeros(target.size, dtype=np.int64),
        prior=Rows(np.empty((0, 4)), np.empty(0)),
        how=Robust(bend=1.345, drop=NEVER, least_scale=0.0, rounds=200, close=1e-9),
    )
    assert found.value == pytest.approx(
        [-41.0264983525, 0.8293843345, 0.9260659666, -0.1278467250], rel=1e-5
    )
    assert found.scale[0] == pytest.approx(mad_scale(target - terms @ found.value), rel=1e-6)


# CV-103: Pearson's points with York's weights; York et al. (2004), Am. J. Phys. 72, 367. The
# true x of each point are unknowns too, which makes the equations bilinear.
def test_a_line_with_errors_in_both_axes() -> None:
    known = _read("york.json")
    x, y = np.array(known["x"]), np.array(known["y"])
    sigma = 1 / np.sqrt(np.concatenate([known["weight_x"], known["weight_y"]]))

    def equations(value: Floats) -> tuple[Floats, Floats]:
        constant, slope, true_x = value[0], value[1], value[2:]
        slopes = np.zeros((20, 12))
        slopes[:10, 2:] = np.eye(10)
        slopes[10:, 0], slopes[10:, 1], slopes[10:, 2:] = 1.0, true_x, slope * np.eye(10)
        return np.concatenate([x - true_x, y - constant - slope * true_x]), slopes

    found = gauss_newton(
        equations,
        np.concatenate([[5.7611852, -0.5395773], x]),  # the unweighted line
        sigma=sigma,
        group=np.repeat(np.arange(20), 1),  # groups of one are not scaled
        prior=Rows(np.empty((0, 12)), np.empty(0)),
        how=Robust(bend=NEVER, drop=NEVER, rounds=100, close=1e-9),
    )
    assert found.value[:2] == pytest.approx([5.4799102240, -0.4805334074], abs=1e-6)
    assert found.scaled @ found.scaled == pytest.approx(11.8663532, abs=1e-6)
    assert np.sqrt(np.diag(found.covariance))[:2] == pytest.approx([0.2949707, 0.0579850], abs=2e-7)


# CV-107: a real cell's capacity against its equivalent full cycles (open data, scipy `linregress`).
def test_a_fade_line_on_real_data() -> None:
    cycles = np.array([1.019585, 26.283478, 73.386207, 120.475684, 224.330349])
    held = np.array([1.0, 0.988576, 0.980880, 0.974101, 0.960859])
    terms = np.column_stack([np.ones(5), cycles])
    found = least_squares(terms, held)
    sd = _residual_sd(terms, held, found.value)
    assert found.value == pytest.approx([0.9954018, -1.629480e-4], rel=1e-6)
    assert sd * np.sqrt(found.covariance[1, 1]) == pytest.approx(
        2.13183e-5, rel=1e-4
    )  # the inputs are rounded
    there = np.array([1.0, 300.0])
    # Student's t for 3 degrees of freedom at 95 %: 2.353363 (any table).
    half = 2.353363 * sd * np.sqrt(1 + there @ found.covariance @ there)
    assert there @ found.value == pytest.approx(0.946517, abs=1e-5)
    assert half == pytest.approx((0.960879 - 0.932156) / 2, abs=1e-5)


# CV-105: one bad point of eight; the slope of Theil and Sen is -0.02, that of least squares not.
# The other seven lie on 1.02 - 0.02 x.
def test_one_bad_point_is_dropped() -> None:
    x = np.arange(1.0, 9.0)
    y = np.array([1.0, 0.98, 0.96, 0.94, 0.60, 0.90, 0.88, 0.86])
    terms = np.column_stack([np.ones(8), x])
    start = least_squares(terms, y).value
    assert start == pytest.approx([0.9971429, -0.0238095], abs=1e-6)
    found = gauss_newton(
        lambda value: (y - terms @ value, terms),
        start,
        sigma=np.full(8, 0.01),
        group=np.zeros(8, dtype=np.int64),
        prior=Rows(np.empty((0, 2)), np.empty(0)),
        how=Robust(rounds=50, close=1e-6),
    )
    assert found.value == pytest.approx([1.02, -0.02], abs=1e-6)
    assert found.weight.tolist() == [1.0, 1.0, 1.0, 1.0, 0.0, 1.0, 1.0, 1.0]
    assert found.scale[0] == 0.5  # the others are without error: the least scale holds


# Two sights of one length, 10 ± 1 and 12 ± 2: by hand (10/1 + 12/4)/(1 + 1/4) = 10.4, σ² = 0.8.
def test_a_prior_is_a_row() -> None:
    found = gauss_newton(
        lambda value: (12.0 - value, np.ones((1, 1))),
        np.zeros(1),
        sigma=np.array([2.0]),
        group=np.zeros(1, dtype=np.int64),
        prior=Rows(np.ones((1, 1)), np.array([10.0])),
        how=Robust(bend=NEVER, drop=NEVER),
    )
    assert found.value[0] == pytest.approx(10.4)
    assert found.covariance[0, 0] == pytest.approx(0.8)
    assert found.data.terms[0, 0] == pytest.approx(0.5)
    assert found.data.target[0] == pytest.approx(6.0)


def test_huber_weights_by_hand() -> None:
    weights = huber_weights(np.array([0.0, -1.5, 3.0, -6.0, 6.1]), bend=1.5, drop=6.0)
    assert weights.tolist() == [1.0, 1.0, 0.5, 0.25, 0.0]


@pytest.mark.parametrize(
    "terms",
    [np.ones((1, 2)), np.ones((4, 2)), np.column_stack([np.ones(4), np.zeros(4)])],
    ids=["too few", "alike", "empty column"],
)
def test_rows_that_tell_too_little_are_refused(terms: Floats) -> None:
    with pytest.raises(ValueError, match="do not tell 2 unknowns apart"):
        least_squares(terms, np.ones(len(terms)))
