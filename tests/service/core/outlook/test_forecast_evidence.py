"""Laws weighed by capacities, against plain numerical integration."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.history import Floats
from joulebook.core.outlook.ageing import Laws, Mixture
from joulebook.core.outlook.forecast_evidence import FadeEvidence, weigh

YEARS = np.array([0.0, 1.0, 2.0])
CYCLES = np.array([0.0, 200.0, 400.0])
CAPACITY_AH = np.array([203.0, 199.5, 196.9])


def _mixture() -> Mixture:
    laws = Laws(
        calendar=np.array([0.01, 0.02, 0.02, 0.06]),
        cycles=np.array([0.02, 0.02, 0.05, 0.1]),
        calendar_power=np.array([0.5, 0.5, 1.0, 0.75]),
        cycle_power=np.array([1.0, 0.7, 0.5, 1.0]),
    )
    return Mixture(laws, np.log(np.array([0.4, 0.3, 0.2, 0.1])))


def _evidence(covariance: Floats) -> FadeEvidence:
    information = np.linalg.inv(covariance).astype(np.float64)
    return FadeEvidence(
        years=YEARS, information=information, vector=information @ CAPACITY_AH, rated_ah=200.0
    )


def test_weights_are_those_of_a_plain_integral() -> None:
    # Independent way: the density of the readings, their covariance doubled, summed over first
    # capacities of 1.02 of rated ± 5 % on a fine grid.
    covariance = 1.5**2 * (0.5 + np.eye(3))
    mixture = _mixture()
    weighed = weigh(mixture, _evidence(covariance), YEARS, CYCLES)
    first = np.linspace(0.7, 1.4, 20_001)
    prior = np.exp(-(((first - 1.02) / 0.05) ** 2) / 2)
    half = np.linalg.inv(2 * covariance)
    mass, mean, spread = [], [], []
    for law in range(4):
        kept = 1 - mixture.laws.at(np.array([law])).losses(YEARS, CYCLES)[0]
        rest = CAPACITY_AH - 200.0 * np.outer(first, kept)
        density = prior * np.exp(-np.einsum("ij,jk,ik->i", rest, half, rest) / 2)
        mass.append(np.sum(density) * np.exp(mixture.log_prior[law]))
        mean.append(np.sum(density * first) / np.sum(density))
        spread.append(np.sqrt(np.sum(density * (first - mean[-1]) ** 2) / np.sum(density)))
    assert weighed.weight.tolist() == pytest.approx((np.array(mass) / np.sum(mass)).tolist())
    assert weighed.first_ratio.tolist() == pytest.approx(mean)
    assert weighed.first_sd_ratio.tolist() == pytest.approx(spread, rel=1e-6)


def test_without_evidence_nothing_changes() -> None:
    weighed = weigh(_mixture(), None, np.empty(0), np.empty(0))
    assert weighed.weight.tolist() == pytest.approx([0.4, 0.3, 0.2, 0.1])
    assert set(weighed.first_ratio.tolist()) == {1.02}
    assert set(weighed.first_sd_ratio.tolist()) == {0.05}


def test_empty_evidence_is_no_evidence() -> None:
    nothing = FadeEvidence(
        years=YEARS, information=np.zeros((3, 3)), vector=np.zeros(3), rated_ah=200.0
    )
    weighed = weigh(_mixture(), nothing, YEARS, CYCLES)
    assert weighed.weight.tolist() == pytest.approx([0.4, 0.3, 0.2, 0.1])
    assert weighed.first_sd_ratio.tolist() == pytest.approx([0.05] * 4)


def test_less_than_no_information_is_none() -> None:
    # One direction (all capacities alike) is known, another came out a little below zero.
    along = np.ones(3) / np.sqrt(3)
    across = np.array([1.0, -1.0, 0.0]) / np.sqrt(2)
    information = 4.0 * np.outer(along, along)
    sound = FadeEvidence(
        years=YEARS, information=information, vector=information @ CAPACITY_AH, rated_ah=200.0
    )
    unsound = replace(
        sound,
        information=information - 0.01 * np.outer(across, across),
        vector=sound.vector - 0.01 * across * (across @ CAPACITY_AH),
    )
    expected = weigh(_mixture(), sound, YEARS, CYCLES)
    found = weigh(_mixture(), unsound, YEARS, CYCLES)
    assert found.weight.tolist() == pytest.approx(expected.weight.tolist())
    assert found.first_ratio.tolist() == pytest.approx(expected.first_ratio.tolist())


def test_what_does_not_belong_together_is_refused() -> None:
    evidence = _evidence(np.eye(3))
    with pytest.raises(ValueError, match="other shapes"):
        weigh(_mixture(), evidence, YEARS[:2], CYCLES[:2])
    with pytest.raises(ValueError, match="other shapes"):
        weigh(_mixture(), replace(evidence, information=np.eye(2)), YEARS, CYCLES)
