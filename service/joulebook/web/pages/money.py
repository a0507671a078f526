"""What energy costs a site, what its equipment saves, and what losses cost."""

from datetime import date
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.summaries.numbers import Document
from joulebook.web.access.who import Asking
from joulebook.web.figures.money import money_figure
from joulebook.web.pages.figures import Painted
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.region import formats
from joulebook.web.shown import without_repeats
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import money_sentences
from joulebook.web.words.money_rows import (
    amount_rows,
    band_line,
    energy_rows,
    facts_of,
    month_line,
    period_line,
    reasons_of,
)
from joulebook.web.words.money_texts import LIMITS, MONEY_WORKINGS, PERIODS

router = APIRouter(include_in_schema=False)

_CHOSEN = "last_twelve_months"
#: Periods that begin later where there are no readings or no tariff before.
_LONG = ("year_so_far", "last_twelve_months")


@router.get("/sites/{site}/money")
def money_page(site: Sited, actor: Asking, backing: Backed, period: str = _CHOSEN) -> HTMLResponse:
    """Show the page; ``period`` is the one that is told in full."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="money"))
    document = backing.analyses.money(site, now_ms=backing.clock_ms())
    chosen = period if period in PERIODS else _CHOSEN
    page = record_page(
        backing,
        site,
        "money.html",
        current="money",
        may_change=actor.may_change(site.id),
        **told(document, chosen),
        energies=energy_rows(document["periods"][chosen]),
        workings_of=MONEY_WORKINGS,
        limits=LIMITS,
        facts=facts_of(document, site),
    )
    return HTMLResponse(page)


@router.get("/sites/{site}/figures/money")
def figure(site: Sited, backing: Backed, palette: Painted) -> dict[str, Any]:
    """Return the figure of the months; nothing is in it without a tariff."""
    document = backing.analyses.money(site, now_ms=backing.clock_ms())
    unit = money_sentences.amount_unit(document["currency"] or "")
    return money_figure(document["months"], unit, palette)


def told(document: Document, chosen: str) -> Document:
    """Return what the template shows of a document; without a tariff, energies only."""
    currency = document["currency"]
    period = document["periods"][chosen]
    about = {
        "currency": currency,
        "chosen": chosen,
        "chosen_words": PERIODS[chosen],
        "window": formats.days_between(
            date.fromisoformat(period["from"]), date.fromisoformat(period["to"])
        ),
        "names": PERIODS,
    }
    if currency is None:
        return about | {"lead": [], "measured": []}
    # In sentences an amount names its currency; in tables the caption does.
    unit, plain = money_sentences.amount_unit(currency), money_sentences.amount_unit("")
    now = document["periods"]["month_so_far"]
    lead = [
        money_sentences.paid(now, unit, when=money_sentences.so_far(now)),
        money_sentences.saved(now, unit),
    ]
    measured = [money_sentences.measured(now)] if now["total"]["amount"] is not None else []
    return about | {
        "lead": [words for words in lead if words is not None],
        "measured": measured,
        "periods": [period_line(name, document, plain) for name in PERIODS],
        "months": [month_line(each, plain) for each in document["months"]][::-1],
        "rows": without_repeats(amount_rows(period, plain)),
        "bands": [band_line(each, plain) for each in period["bands"]],
        "reasons": reasons_of(document),
    }
