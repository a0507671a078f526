"""What the measured capacities say of each law of ageing.

Part of method `forecast-1`, see ``docs/methods/forecast.md``.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats
from joulebook.core.outlook.ageing import Mixture

#: A new battery against its rating, before anything was measured (our choice). [of rated]
FIRST_CAPACITY_RATIO, FIRST_CAPACITY_SD_RATIO = 1.02, 0.05
#: Anchors of neighbouring nights err alike, so that the fit believes them too much: its
#: information counts half (our choice, tried on simulated homes).
TRUST_RATIO = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FadeEvidence:
    """Measured capacities with everything that ties them together, and nothing assumed.

    Attributes
    ----------
    years : float64 (n,)
        When, since the first reading of the record.
    information : float64 (n, n)
        Inverse of their covariance, of the readings alone: what the fit assumed of capacities
        beforehand is taken off. [1/Ah²]
    vector : float64 (n,)
        ``information`` times the capacities that the readings alone would give. [1/Ah]
    rated_ah : float
        What the maker rates. [Ah]
    """

    years: Floats
    information: Floats
    vector: Floats
    rated_ah: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeighedLaws:
    """How likely each law is, and what the first capacity would be under it; shape (laws,).

    Attributes
    ----------
    weight : float array
        Sums to 1.
    first_ratio, first_sd_ratio : float array
        Capacity of the new battery, mean and standard deviation. [of rated]
    """

    weight: Floats
    first_ratio: Floats
    first_sd_ratio: Floats


def weigh(
    mixture: Mixture, evidence: FadeEvidence | None, thermal_years: Floats, efc: Floats
) -> WeighedLaws:
    """Return the laws weighed by the measured capacities.

    Parameters
    ----------
    mixture : Mixture
        The laws, and what is thought of them beforehand.
    evidence : FadeEvidence or None
        ``None`` leaves them as they were.
    thermal_years, efc : float64 (n,)
        Ages of the battery at the times of the evidence.

    Raises
    ------
    ValueError
        If the shapes of the evidence and the ages do not agree.

    Notes
    -----
    Capacity is the first capacity times one less the loss. The first capacity is normal
    beforehand and enters linearly, so it is integrated out in closed form: with kept shares g,
    information M and vector h, ``u = gᵀMg + 1/s²`` and ``v = gᵀh + m/s²`` give a law the
    likelihood ``exp(v²/2u) / √u``, and its first capacity the mean ``v/u`` and variance ``1/u``.
    """
    prior = mixture.log_prior
    if evidence is None:
        return WeighedLaws(
            weight=np.exp(prior),
            first_ratio=np.full(prior.size, FIRST_CAPACITY_RATIO),
            first_sd_ratio=np.full(prior.size, FIRST_CAPACITY_SD_RATIO),
        )
    size = evidence.years.size
    if evidence.information.shape != (size, size) or thermal_years.shape != (size,):
        raise ValueError(f"{size} capacities, but other shapes beside them")
    information, vector = _sound(evidence)
    kept = 1 - mixture.laws.losses(thermal_years, efc)
    u = np.einsum("ij,ij->i", kept @ information, kept) + FIRST_CAPACITY_SD_RATIO**-2
    v = kept @ vector + FIRST_CAPACITY_RATIO * FIRST_CAPACITY_SD_RATIO**-2
    log_weight = prior + v * v / (2 * u) - np.log(u) / 2
    weight = np.exp(log_weight - log_weight.max())
    return WeighedLaws(
        weight=weight / np.sum(weight), first_ratio=v / u, first_sd_ratio=1 / np.sqrt(u)
    )


def _sound(evidence: FadeEvidence) -> tuple[Floats, Floats]:
    """Return information and vector in units of the rated charge, less what cannot be.

    Taking off what the fit assumed can leave directions of less than no information, by
    rounding: nothing is known along them.
    """
    symmetric = (evidence.information + evidence.information.T) / 2 * evidence.rated_ah**2
    strength, direction = np.linalg.eigh(symmetric)
    known = strength > 1e-9 * max(float(strength[-1]), 0.0)
    basis = direction[:, known]
    information = (basis * strength[known]) @ basis.T
    vector = basis @ (basis.T @ (evidence.vector * evidence.rated_ah))
    return TRUST_RATIO * information, TRUST_RATIO * vector
