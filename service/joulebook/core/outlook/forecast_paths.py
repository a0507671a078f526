"""Many possible futures of one battery, drawn from the laws that its past leaves possible.

Part of method `forecast-1`, see ``docs/methods/forecast.md``.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats
from joulebook.core.outlook.ageing import Mixture
from joulebook.core.outlook.forecast_evidence import WeighedLaws
from joulebook.core.outlook.forecast_usage import UsageHistory
from joulebook.core.outlook.throughput import GAIN_U_RATIO

PATHS = 4000
_SEED = 20_251_201

#: No law is the truth: what is still to be lost is uncertain by this much more, as the standard
#: deviation of its logarithm, by length of the record in years (our choice, tried on simulated
#: homes).
MODEL_YEARS = (1.0, 1.5, 2.0)
MODEL_LOG_SD = (0.20, 0.13, 0.075)
#: A knee: from a loss somewhere between these on, each further loss is 1 + 12 · excess as fast
#: (our choice: with more of them the lower end is that of the knees alone for batteries that
#: fade fast, whether theirs has one or not).
KNEE_PROBABILITY = 0.04
KNEE_RATIOS = (0.08, 0.20)
KNEE_GAIN = 12.0
#: Next years against the last one: standard deviations of the logarithm, of thermal age and of
#: use; and what an unseen part of the year adds, at most (our choice).
RATE_LOG_SD = (0.05, 0.04)
SEASON_LOG_SD = (0.31, 0.18)
#: A battery that holds less is cycled less. [of the cycles]
SHRINKING_USE_RATIO = 0.97


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Futures:
    """Possible futures; arrays have shape (paths, times) or (paths,).

    Attributes
    ----------
    years : float64 (times,)
        Since the record's start.
    soh_ratio : float array
        Capacity. [of rated]
    use_factor : float array
        Next years' use against the last one's.
    """

    years: Floats
    soh_ratio: Floats
    use_factor: Floats


def draw_futures(
    mixture: Mixture, weighed: WeighedLaws, usage: UsageHistory, years: Floats, *, measured: bool
) -> Futures:
    """Draw futures; the same arguments always give the same.

    Parameters
    ----------
    mixture, weighed : Mixture, WeighedLaws
        The laws, and how likely each is.
    usage : UsageHistory
        Past and rates.
    years : float64 (times,)
        When, since the record's start; none before its end.
    measured : bool
        Whether capacities were measured: they carry the current sensor's gain.
    """
    rng = np.random.default_rng(_SEED)
    place = _drawn(weighed.weight)
    laws = mixture.laws.at(place)
    normal = rng.standard_normal((5, PATHS))
    first = weighed.first_ratio[place] + weighed.first_sd_ratio[place] * normal[0]
    first *= np.exp(GAIN_U_RATIO * normal[1]) if measured else 1.0
    unseen = np.sinc(min(usage.record_years, 1.0))  # of a seasonal swing, after part of a year
    thermal_factor, use_factor = (
        np.exp(np.hypot(sd, season * unseen) * each)
        for sd, season, each in zip(RATE_LOG_SD, SEASON_LOG_SD, normal[2:4], strict=True)
    )
    use_factor *= SHRINKING_USE_RATIO
    now_thermal, now_efc = usage.ages_at(np.array([usage.record_years]))
    ahead = years - usage.record_years
    loss = laws.losses(
        now_thermal + np.outer(thermal_factor, ahead) * usage.thermal_rate,
        now_efc + np.outer(use_factor, ahead) * usage.efc_rate,
    )
    now = laws.losses(now_thermal, now_efc)
    model_sd = np.interp(usage.record_years, MODEL_YEARS, MODEL_LOG_SD)
    loss = now + (loss - now) * np.exp(model_sd * normal[4])[:, None]
    loss = _with_knees(loss, now[:, 0], rng)
    return Futures(
        years=years,
        soh_ratio=first[:, None] * np.maximum(1 - loss, 0.0),
        use_factor=use_factor,
    )


def _drawn(weight: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """Return places drawn by weight, evenly: each as often as its weight says, to within one."""
    even = (np.arange(PATHS) + 0.5) / PATHS
    places = np.searchsorted(np.cumsum(weight), even)
    return np.minimum(places, weight.size - 1)


def _with_knees(loss: Floats, now: Floats, rng: np.random.Generator) -> Floats:
    """Return the losses, some of them with a knee that has not been passed yet.

    Notes
    -----
    With excess x over the knee, ``dx = (1 + 12 x) ds`` for a loss that would have grown by s:
    ``x = (exp(12 s) - 1) / 12``.
    """
    has_one = rng.random(PATHS) < KNEE_PROBABILITY
    at = rng.uniform(*KNEE_RATIOS, PATHS)
    knee = np.where(has_one & (at > now), at, np.inf)[:, None]
    beyond = np.maximum(loss - knee, 0.0)
    # All is lost long before the exponential could overflow.
    faster = (np.exp(np.minimum(KNEE_GAIN * beyond, 5.0)) - 1) / KNEE_GAIN
    curved: Floats = loss - beyond + faster
    return curved
