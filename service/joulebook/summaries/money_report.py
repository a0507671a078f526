"""The money document: what was paid, what was saved, and what losses cost, by months and years."""

from contextlib import closing
from datetime import date, timedelta

from joulebook.core.daily.quarters import QUARTER_MS
from joulebook.core.estimate import Estimate, refused
from joulebook.core.money.bill import METHOD as BILL_METHOD
from joulebook.core.money.bill import BandSum, Bill
from joulebook.core.money.tariff import clock_text
from joulebook.core.spans import Span, date_of, days_span, local_day
from joulebook.errors import UsageError
from joulebook.storage.database import Database
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.money_numbers import AMOUNT_DIGITS, amount, energy
from joulebook.summaries.numbers import Document, dates_of, time_text
from joulebook.summaries.priced_time import (
    PricedTime,
    idle,
    known_part,
    last_year,
    losses,
    passed_of,
)

#: How many calendar months are told at most, with the one that is not over.
MONTHS = 13
_NO_GRID = "the site has no meter of the grid"
_NO_TARIFF = "no tariff was entered"


def money_report(
    database: Database,
    site: Site,
    first: date | None,
    last: date | None,
    *,
    efficiency: Document,
    now_ms: int,
) -> Document:
    """Return what energy cost and what was saved, in amounts of the tariff's currency.

    Parameters
    ----------
    first, last : date or None
        Days of a period of one's own, told beside the others as ``asked``; both included.
    efficiency : Document
        The site's efficiency report: what the inverter passes on, and what it takes for itself.
    now_ms : int
        Now. [ms, UTC epoch]

    Raises
    ------
    UsageError
        If the days asked for end before they begin.
    """
    today = date_of(now_ms, site.zone)
    months = _months(site, today, now_ms)
    with closing(database.connect()) as connection:
        readings = readings_span(connection, site.id)
    year_ms = local_day(today.replace(month=1, day=1), site.zone).start_ms
    spans = {
        "month_so_far": months[-1],
        "year_so_far": known_part(database, site, Span(year_ms, now_ms)),
        "last_month": months[-2],
        "last_twelve_months": known_part(database, site, last_year(site, now_ms=now_ms)),
    }
    if first is not None or last is not None:
        spans["asked"] = _asked(site, first or last or today, last or today, now_ms)
    whole = Span(
        min(span.start_ms for span in (*spans.values(), *months)),
        max(span.end_ms for span in spans.values()),
    )
    time = PricedTime(database, site, whole)
    return {
        "site": site.name,
        "timezone": site.timezone,
        "currency": time.tariffs[-1].currency if time.tariffs else None,
        "as_of": time_text(spans["month_so_far"].end_ms, site.zone),
        "passed": _passed(efficiency),
        "periods": {name: _period(time, site, span, efficiency) for name, span in spans.items()},
        "months": [
            _month(time, site, span)
            for span in months
            if readings is not None and span.end_ms > readings.start_ms
        ],
    }


def _months(site: Site, today: date, now_ms: int) -> list[Span]:
    """Return the calendar months up to now, the oldest first."""
    firsts = [today.replace(day=1)]
    while len(firsts) < MONTHS:
        firsts.append((firsts[-1] - timedelta(days=1)).replace(day=1))
    return [
        _until_now(
            days_span(
                first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1), site.zone
            ),
            now_ms,
        )
        for first in firsts[::-1]
    ]


def _until_now(span: Span, now_ms: int) -> Span:
    """Return a span as far as it has passed, in whole quarter hours."""
    end_ms = min(span.end_ms, now_ms // QUARTER_MS * QUARTER_MS)
    return Span(min(span.start_ms, end_ms), end_ms)


def _asked(site: Site, first: date, last: date, now_ms: int) -> Span:
    if last < first:
        raise UsageError(
            f"from {first} to {last} is no span of days",
            where="from, to",
            expected="a first day that is not after the last, nor after today",
            next_step="exchange them",
        )
    return _until_now(days_span(first, last, site.zone), now_ms)


def _period(time: PricedTime, site: Site, span: Span, efficiency: Document) -> Document:
    common = time.common(span)
    lost_wh, lost = losses(common)
    saved = time.saved(common, passed_of(efficiency))
    found: dict[str, Estimate] = {
        "saved_by_panels": saved.panels,
        "saved_by_battery": saved.battery,
        "saved": saved.both,
        "cost_of_losses": lost,
        "cost_of_idle": idle(common, efficiency, hours=span.length_s / 3600),
    }
    if not time.tariffs:
        lost_wh = _refused(lost_wh, _NO_TARIFF)
        found = {name: _refused(each, _NO_TARIFF) for name, each in found.items()}
    return {
        **_bill(time, site, span),
        "losses_wh": energy(lost_wh),
        **{name: amount(each) for name, each in found.items()},
        "bills": {
            name: None if value is None else round(value, AMOUNT_DIGITS)
            for name, value in (
                ("as_it_was", saved.as_it_was),
                ("without_battery", saved.without_battery),
                ("without_both", saved.without_both),
            )
        },
    }


def _month(time: PricedTime, site: Site, span: Span) -> Document:
    """Return a calendar month, with what was saved but without its bands."""
    found = _bill(time, site, span)
    del found["bands"]
    return found


def _bill(time: PricedTime, site: Site, span: Span) -> Document:
    bill = time.bill(span)
    if bill is None:
        nothing = refused(_NO_GRID, method=BILL_METHOD)
        bill = Bill(
            bought_wh=nothing,
            sold_wh=nothing,
            bought=nothing,
            sold=nothing,
            fixed=nothing,
            total=nothing,
        )
    amounts = {name: getattr(bill, name) for name in ("bought", "sold", "fixed", "total")}
    if not time.tariffs:
        amounts = {name: _refused(each, _NO_TARIFF) for name, each in amounts.items()}
    return {
        **dates_of(span, site.zone),
        "hours": span.length_s / 3600,
        "bought_wh": energy(bill.bought_wh),
        "sold_wh": energy(bill.sold_wh),
        **{name: amount(each) for name, each in amounts.items()},
        "bands": [_band(each) for each in bill.bands],
    }


def _band(found: BandSum) -> Document:
    season, band = found.priced.season, found.priced.band
    return {
        "tariff_from": found.priced.tariff.from_day.isoformat(),
        "season": season.name,
        "days": list(band.days),
        "from": clock_text(band.from_minute),
        "to": clock_text(band.to_minute),
        "import_price": float(band.import_price),
        "export_price": float(band.export_price),
        "import_wh": round(found.import_wh, 1),
        "export_wh": round(found.export_wh, 1),
        "bought": round(found.bought, AMOUNT_DIGITS),
        "sold": round(found.sold, AMOUNT_DIGITS),
    }


def _passed(efficiency: Document) -> Document:
    found = passed_of(efficiency)
    return {
        "ratio": found.ratio,
        "low_ratio": found.low,
        "high_ratio": found.high,
        "measured": efficiency["conversion"]["ratio"] is not None,
    }


def _refused(estimate: Estimate, reason: str) -> Estimate:
    return refused(reason, method=estimate.method)
