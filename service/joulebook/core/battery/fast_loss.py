"""Capacity that is lost faster than the joint fit follows: then the newest nights are believed.

Method `fast-loss-1`, see ``docs/methods/fast-loss.md``. The fit holds its dates together, and takes
nights that leave its line for poor nights. Of a cell that fails within months that is wrong; single
nights know better, since each stands alone.
"""

from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.battery.capacity import (
    FIRST_DAYS,
    LARGEST_MISFIT_RATIO,
    CapacityPoint,
    CapacityStatement,
)
from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.battery.nights import GAIN_U, Night, NightList
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate
from joulebook.core.history import MS_PER_DAY, Floats

METHOD = "fast-loss-1"

#: The newest nights are those of so many days before the last that tells a capacity.
NEWEST_DAYS = 30.0
#: And those before them by so much show how nights lie beside the fit in calm times.
CALM_DAYS = 180.0
FEWEST_NEWEST, FEWEST_CALM = 5, 12
#: Nights lie beside the fit by so much without a reason: season, curve, sensor (tried on simulated
#: homes). [ratio]
ALLOWED = 0.04
#: And by so many of their own standard uncertainties, as what chance does.
_SIGMAS = 4.0
#: What newest nights share that their scatter does not show. [ratio]
_SHARED_U = 0.02
#: Nights lie beside a fit that can be believed by no more than this in calm times. [ratio]
_USUAL = 0.03
#: Where the fit is no guide, nights that went down by so much against calm ones are. [ratio]
_FALLEN = 0.10
#: A median is so much less sure than a mean, of normal errors.
_MEDIAN = 1.2533


@dataclass(frozen=True, slots=True, kw_only=True)
class FastLoss:
    """What the newest nights tell.

    Attributes
    ----------
    at_ms : int
        The last of them. [ms, UTC epoch]
    ah : float
        What the battery holds. [Ah]
    u_ratio : float
        Its standard uncertainty. [ratio]
    health_ratio : float
        Of what the battery held in the first 90 days of record, or in the first nights.
    below_ratio, fallen_ratio : float
        How far that is below the fit, and below the nights before the last half year. [ratio]
    nights : int
        How many they are.
    """

    at_ms: int
    ah: float
    u_ratio: float
    health_ratio: float
    below_ratio: float
    fallen_ratio: float
    nights: int

    @property
    def reason(self) -> str:
        """Why other numbers are not given, for a person."""
        return (
            f"the newest {self.nights} nights imply {self.fallen_ratio:.0%} less than those before "
            "the last half year: capacity is being lost fast; what it holds now is told from them, "
            "and as no law of ageing here loses so fast, how it goes on is not told"
        )

    @property
    def sentence(self) -> str:
        """The same as a sentence beside the capacity."""
        return f"{self.reason[0].upper()}{self.reason[1:]}."


def fast_loss(
    fit: CapacityFit, nights: NightList, *, since_ms: int | None = None
) -> FastLoss | None:
    """Return what the newest nights tell, where the fit has not followed; else ``None``.

    Parameters
    ----------
    fit, nights : CapacityFit, NightList
        Of the same record.
    since_ms : int, optional
        When battery or sensor were changed last: nights before are of another. [ms, UTC epoch]
    """
    told = [
        night
        for night in nights.nights
        if night.implied_ah is not None and (since_ms is None or night.full_ms >= since_ms)
    ]
    if not told:
        return None
    at_ms = np.array([_low_ms(night) for night in told])
    implied = np.array([night.implied_ah for night in told], dtype=np.float64)
    ago_days = (at_ms[-1] - at_ms) / MS_PER_DAY
    beside = implied / fit.capacity_at(at_ms)[0]
    newest, calm = ago_days <= NEWEST_DAYS, ago_days > CALM_DAYS
    if np.count_nonzero(newest) < FEWEST_NEWEST or np.count_nonzero(calm) < FEWEST_CALM:
        return None
    # How nights lie beside the fit: its curve and zero are not theirs.
    usual = float(np.median(beside[calm]))
    if abs(usual - 1) > _USUAL:
        usual = 1.0  # what comes late has bent the fit of calm times too
    own_u = _u_of_median(implied[newest]) / float(np.median(implied[newest]))
    fallen = 1 - float(np.median(implied[newest]) / np.median(implied[calm]))
    first = (at_ms - at_ms[0]) / MS_PER_DAY <= FIRST_DAYS
    first[:FEWEST_NEWEST] = True
    if fit.misfit_ratio > LARGEST_MISFIT_RATIO:
        below, allowed, beside_u = fallen, _FALLEN, own_u
    else:
        below = 1 - float(np.median(beside[newest])) / usual
        allowed, beside_u = ALLOWED, _u_of_median(beside[newest])
    if below < max(allowed, _SIGMAS * beside_u):
        return None
    last = float(np.median(implied[newest][-FEWEST_NEWEST:]))
    return FastLoss(
        at_ms=int(at_ms[-1]),
        ah=last / usual,
        health_ratio=last / float(np.median(implied[first])),
        u_ratio=float(np.sqrt(own_u**2 + _SHARED_U**2 + GAIN_U**2)),
        below_ratio=below,
        fallen_ratio=fallen,
        nights=int(np.count_nonzero(newest)),
    )


def may_be_told(fit: CapacityFit, statement: CapacityStatement) -> bool:
    """Tell whether the newest capacity is stated, or only not because nights differ too much."""
    return statement.latest.ah.value is not None or fit.misfit_ratio > LARGEST_MISFIT_RATIO


def told_by_nights(statement: CapacityStatement, loss: FastLoss) -> CapacityStatement:
    """Return a statement whose newest capacity is that of the newest nights."""
    coverage = statement.latest.ah.coverage_ratio
    held = _estimate(loss.ah, loss.u_ratio, coverage)
    latest = CapacityPoint(
        at_ms=loss.at_ms,
        ah=held,
        sensor_ah=held,
        health=_estimate(loss.health_ratio, loss.u_ratio, coverage),
    )
    return replace(statement, latest=latest, cautions=(loss.sentence, *statement.cautions))


def _estimate(value: float, u_ratio: float, coverage_ratio: float) -> Estimate:
    half = K90 * u_ratio * value
    return Estimate(
        value=value,
        low=value - half,
        high=value + half,
        coverage_ratio=coverage_ratio,
        method=METHOD,
    )


def _low_ms(night: Night) -> int:
    assert night.low_ms is not None  # of a night that implies a capacity
    return night.low_ms


def _u_of_median(values: Floats) -> float:
    # Not a robust spread: nights that differ wildly shall not be believed.
    return _MEDIAN * float(np.std(values, ddof=1)) / float(np.sqrt(values.size))
