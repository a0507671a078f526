"""Whether a battery will still hold what its warranty promises, and how sure that is.

Method `forecast-1`, see ``docs/methods/forecast.md``.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import Floats
from joulebook.core.outlook.ageing import published_mixture
from joulebook.core.outlook.forecast_evidence import FadeEvidence, weigh
from joulebook.core.outlook.forecast_paths import Futures, draw_futures
from joulebook.core.outlook.forecast_usage import UsageHistory
from joulebook.core.outlook.forecast_words import (
    MEASURED,
    NO_CAPACITY,
    NO_LAW_VERDICT,
    OVER,
    OVER_VERDICT,
    TOO_EARLY,
    TOO_SHORT,
    UNMEASURED_VERDICT,
    verdict_of,
)

METHOD = "forecast-1"

#: Which shares of the futures are given, in percent.
PERCENTILES = (5, 10, 50, 90, 95)
#: No further is looked. [years since new]
HORIZON_YEARS = 15.0
#: Before this much of a record no middle is given, and before that nothing. [years]
POINT_AFTER_YEARS = 0.97
LEAST_YEARS = 1 / 12


@dataclass(frozen=True, slots=True, kw_only=True)
class WarrantyTerms:
    """What the warranty promises; what it does not limit is ``None``.

    Attributes
    ----------
    end_ms : int
        When its years are over. [ms, UTC epoch]
    floor_ratio : float or None
        The capacity that is promised until then. [of rated]
    throughput_wh : float or None
        It ends earlier when so much energy was given out. [Wh]
    """

    end_ms: int
    floor_ratio: float | None
    throughput_wh: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FanPoint:
    """State of health at an instant: 5, 10, 50, 90 and 95 % of the futures lie below. [of rated]"""

    at_ms: int
    p5_ratio: float
    p10_ratio: float
    p50_ratio: float
    p90_ratio: float
    p95_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DateBand:
    """When something happens: 5, 50 and 95 % of the futures reach it earlier. [ms, UTC epoch]

    ``None`` is beyond 15 years.
    """

    early_ms: int | None
    middle_ms: int | None
    late_ms: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What becomes of a battery.

    Attributes
    ----------
    soh_at_end : Estimate
        State of health when the years of the warranty are over; before twelve months, and
        without measured capacities, low and high alone. [of rated]
    fan : tuple of FanPoint
        Now, each anniversary of the installation, and the end, which is the last.
    probability_met : float or None
        Share of the futures that hold the floor until the warranty is over, by years or by
        throughput, whichever comes first; ``None`` where no floor is promised, or it is too
        early to tell.
    throughput_reached, floor_reached : DateBand or None
        When; ``None`` where there is no such limit, or nothing is known.
    verdict : str
        The probability in words.
    basis : str
        A sentence: what the forecast rests on.
    method : str
        Of all of it.
    """

    soh_at_end: Estimate
    fan: tuple[FanPoint, ...]
    probability_met: float | None
    throughput_reached: DateBand | None
    floor_reached: DateBand | None
    verdict: str
    basis: str
    method: str = METHOD


def forecast(
    usage: UsageHistory,
    terms: WarrantyTerms,
    evidence: FadeEvidence | None = None,
    *,
    why_not: str | None = None,
) -> Forecast:
    """Return what becomes of a battery under the usage it has, or would have.

    Parameters
    ----------
    usage : UsageHistory
        Ages so far and how they go on; that of ``changed`` answers "what if".
    terms : WarrantyTerms
        What was promised.
    evidence : FadeEvidence, optional
        Measured capacities; without them published ageing alone speaks.
    why_not : str, optional
        What else speaks against any forecast.
    """
    if why_not is not None:
        return _nothing(why_not, usage)
    end = usage.years_at(terms.end_ms)
    if usage.record_years < LEAST_YEARS or usage.coverage_ratio == 0:
        return _nothing(TOO_SHORT, usage)
    if end <= usage.record_years or _left_wh(usage, terms) <= 0:
        return _nothing(OVER, usage)
    years = _years(usage, end)
    futures = _futures(usage, evidence, years)
    place = int(np.searchsorted(years, end))
    fan = tuple(
        _fan_point(usage.at_ms(float(each)), futures.soh_ratio[:, column])
        for column, each in enumerate(years[: place + 1])
    )
    reason = _why_no_middle(usage, evidence)
    met = None if reason else _probability_met(futures, usage, terms, end)
    return Forecast(
        soh_at_end=Estimate(
            value=None if reason else fan[-1].p50_ratio,
            low=fan[-1].p5_ratio,
            high=fan[-1].p95_ratio,
            coverage_ratio=usage.coverage_ratio,
            method=METHOD,
            reason=reason,
        ),
        fan=fan,
        probability_met=met,
        throughput_reached=_throughput_band(futures, usage, terms),
        floor_reached=_floor_band(futures, usage, terms),
        verdict=UNMEASURED_VERDICT if reason else verdict_of(met),
        basis=reason or MEASURED,
    )


def _futures(usage: UsageHistory, evidence: FadeEvidence | None, years: Floats) -> Futures:
    mixture = published_mixture()
    ages = usage.ages_at(np.empty(0) if evidence is None else evidence.years)
    weighed = weigh(mixture, evidence, *ages)
    return draw_futures(mixture, weighed, usage, years, measured=evidence is not None)


def _years(usage: UsageHistory, end: float) -> Floats:
    """Return now, the anniversaries of the installation up to the horizon, and the end."""
    new = -usage.before_years
    horizon = max(HORIZON_YEARS + new, end)
    anniversaries = new + np.arange(1, np.ceil(horizon - new) + 1)
    ahead = anniversaries[(anniversaries > usage.record_years) & (anniversaries <= horizon)]
    return np.unique(np.concatenate([[usage.record_years, end], ahead]))


def _fan_point(at_ms: int, soh_ratio: Floats) -> FanPoint:
    p5, p10, p50, p90, p95 = np.percentile(soh_ratio, PERCENTILES).tolist()
    return FanPoint(
        at_ms=at_ms, p5_ratio=p5, p10_ratio=p10, p50_ratio=p50, p90_ratio=p90, p95_ratio=p95
    )


def _why_no_middle(usage: UsageHistory, evidence: FadeEvidence | None) -> str | None:
    if evidence is None:
        return NO_CAPACITY
    return TOO_EARLY if usage.record_years < POINT_AFTER_YEARS else None


def _left_wh(usage: UsageHistory, terms: WarrantyTerms) -> float:
    """Return what may still be given out, endless without a limit. [Wh]"""
    if terms.throughput_wh is None:
        return np.inf
    return terms.throughput_wh - usage.before_wh - usage.discharge_wh


def _throughput_years(futures: Futures, usage: UsageHistory, terms: WarrantyTerms) -> Floats:
    """Return when each future reaches the throughput limit. [years since the record's start]"""
    rate = futures.use_factor * usage.discharge_rate_wh
    ahead = np.full(rate.size, np.inf)
    np.divide(_left_wh(usage, terms), rate, out=ahead, where=rate > 0)
    return usage.record_years + ahead


def _probability_met(
    futures: Futures, usage: UsageHistory, terms: WarrantyTerms, end: float
) -> float | None:
    if terms.floor_ratio is None:
        return None
    until = np.minimum(_throughput_years(futures, usage, terms), end)
    column = np.clip(np.searchsorted(futures.years, until), 1, futures.years.size - 1)
    left, right = futures.years[column - 1], futures.years[column]
    path = np.arange(until.size)
    before, after = futures.soh_ratio[path, column - 1], futures.soh_ratio[path, column]
    soh_ratio = before + (after - before) * (until - left) / (right - left)
    return float(np.mean(soh_ratio >= terms.floor_ratio))


def _throughput_band(
    futures: Futures, usage: UsageHistory, terms: WarrantyTerms
) -> DateBand | None:
    if terms.throughput_wh is None:
        return None
    return _band(_throughput_years(futures, usage, terms), usage)


def _floor_band(futures: Futures, usage: UsageHistory, terms: WarrantyTerms) -> DateBand | None:
    """Return when the floor is reached, by straight lines between the years."""
    if terms.floor_ratio is None:
        return None
    over = futures.soh_ratio - terms.floor_ratio
    below = over < 0
    first = np.argmax(below, axis=1)
    reached = np.where(below.any(axis=1), futures.years[first], np.inf)
    crossing = np.flatnonzero(first > 0)
    after = first[crossing]
    before = after - 1
    up, down = over[crossing, before], -over[crossing, after]
    step = futures.years[after] - futures.years[before]
    reached[crossing] = futures.years[before] + step * up / (up + down)
    return _band(reached, usage)


def _band(years: Floats, usage: UsageHistory) -> DateBand:
    # Taken from the futures themselves: no mean of a year and of never.
    early, middle, late = np.percentile(years, (5, 50, 95), method="inverted_cdf").tolist()
    return DateBand(
        early_ms=_date(early, usage), middle_ms=_date(middle, usage), late_ms=_date(late, usage)
    )


def _date(years: float, usage: UsageHistory) -> int | None:
    return None if years + usage.before_years > HORIZON_YEARS else usage.at_ms(years)


def _nothing(reason: str, usage: UsageHistory) -> Forecast:
    return Forecast(
        soh_at_end=refused(reason, method=METHOD, coverage_ratio=usage.coverage_ratio),
        fan=(),
        probability_met=None,
        throughput_reached=None,
        floor_reached=None,
        verdict={TOO_SHORT: UNMEASURED_VERDICT, OVER: OVER_VERDICT}.get(reason, NO_LAW_VERDICT),
        basis=reason,
    )
