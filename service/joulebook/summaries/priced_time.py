"""A site's energies and prices over some months, and what is computed of any part of them."""

from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.bill import Bill, bill_of
from joulebook.core.money.loss_cost import METHOD as LOSS_METHOD
from joulebook.core.money.loss_cost import YEAR_H, idle_cost, losses_of
from joulebook.core.money.prices import fixed_fee, prices_of
from joulebook.core.money.saved import ASSUMED_PASSED, Passed, Saved, saved_of
from joulebook.core.money.tariff import Tariff
from joulebook.core.money.together import Together, together
from joulebook.core.spans import Span, date_of, local_day
from joulebook.storage.database import Database
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.storage.tariffs import in_force, tariffs_of
from joulebook.summaries.numbers import Document
from joulebook.summaries.quarter_energies import QuarterEnergies, quarter_energies


@dataclass(frozen=True, slots=True)
class Common:
    """What all meters measured together in a span, with its local days; nothing where nothing."""

    together: Together | None
    day: NDArray[np.int64]


class PricedTime:
    """Energies and tariffs of a site over a span.

    Parameters
    ----------
    span : Span
        From a local midnight.
    """

    def __init__(self, database: Database, site: Site, span: Span) -> None:
        with closing(database.connect()) as connection:
            self.tariffs: list[Tariff] = in_force(tariffs_of(connection, site.id))
        self.energies: QuarterEnergies = quarter_energies(database, site, span)
        self._site = site

    def bill(self, span: Span) -> Bill | None:
        """Return the bill of a part; ``None`` for a site without a grid meter."""
        part = self.energies.within(span)
        if part.energy.grid is None:
            return None
        return bill_of(
            part.energy.grid,
            prices_of(self.tariffs, part.start_ms, self._site.zone),
            fixed=fixed_fee(self.tariffs, span, self._site.zone),
            quarters=_quarters(span),
        )

    def common(self, span: Span) -> Common:
        """Return what all meters measured together in a part."""
        part = self.energies.within(span)
        prices = prices_of(self.tariffs, part.start_ms, self._site.zone)
        if len(prices.currencies) > 1:
            return Common(None, part.day)
        found = together(part.energy, prices, quarters=_quarters(span))
        return Common(found, part.day if found is None else part.day[found.used])

    def saved(self, common: Common, passed: Passed) -> Saved:
        """Return what panels and battery saved."""
        energy = self.energies.energy
        return saved_of(
            common.together,
            has_panels=energy.pv is not None,
            has_battery=energy.battery is not None,
            passed=passed,
        )


def losses(common: Common) -> tuple[Estimate, Estimate]:
    """Return what was lost [Wh] and what it cost [currency]."""
    return losses_of(common.together, common.day)


def idle(common: Common, efficiency: Document, *, hours: float = YEAR_H) -> Estimate:
    """Return what the inverter's own draw costs in so many hours. [currency]"""
    return idle_cost(common.together, common.day, _estimate_of(efficiency["idle_w"]), hours=hours)


def passed_of(efficiency: Document) -> Passed:
    """Return what the inverter passes on, as measured, or what is assumed where it was not."""
    found = efficiency["conversion"]
    if found["ratio"] is None:
        return ASSUMED_PASSED
    return Passed(found["ratio"], found["low_ratio"], found["high_ratio"])


def last_year(site: Site, *, now_ms: int) -> Span:
    """Return the twelve months up to now, from a local midnight."""
    today = date_of(now_ms, site.zone)
    before = today - timedelta(days=365)
    return Span(local_day(before, site.zone).start_ms, max(now_ms, 0))


def known_part(database: Database, site: Site, span: Span) -> Span:
    """Return a span without what lies before the first reading or the first tariff.

    It ends with the last whole quarter hour.
    """
    with closing(database.connect()) as connection:
        readings = readings_span(connection, site.id)
        tariffs = in_force(tariffs_of(connection, site.id))
    begins = [span.start_ms]
    if readings is not None:
        first: date = date_of(readings.start_ms, site.zone)
        begins.append(local_day(first, site.zone).start_ms)
    if tariffs:
        begins.append(local_day(tariffs[0].from_day, site.zone).start_ms)
    end_ms = span.end_ms // QUARTER_MS * QUARTER_MS
    return Span(min(max(begins), end_ms), end_ms)


def _quarters(span: Span) -> float:
    return (span.end_ms - span.start_ms) / QUARTER_MS


def _estimate_of(number: Document) -> Estimate:
    """Return the estimate of a document's number that is called ``value``."""
    if number["value"] is None:
        return refused(number["reason"], method=LOSS_METHOD)
    return Estimate(
        value=number["value"],
        low=number["low"],
        high=number["high"],
        coverage_ratio=number["coverage_ratio"],
        method=number["method"],
    )
