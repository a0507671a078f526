"""What energy costs a site, what its equipment saves, and what losses cost."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.access.who import Asking
from joulebook.web.figures.money import money_figure
from joulebook.web.pages.figures import Painted
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.region import formats
from joulebook.web.shown import KWH, KWH_WHOLE, PERCENT, Shown, Unit, shown, without_repeats
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import money_sentences
from joulebook.web.words.money_texts import LIMITS, MONEY_WORKINGS, PERIODS

router = APIRouter(include_in_schema=False)

#: The rows of a period, and what each says in small letters.
_AMOUNTS = (
    ("bought", "Bought", ""),
    ("sold", "Sold", ""),
    ("fixed", "Fixed fee", "paid whether energy flows or not"),
    ("total", "Paid", "bought, less sold, and the fee"),
    ("saved_by_panels", "Saved by panels", ""),
    ("saved_by_battery", "Saved by battery", ""),
    ("saved", "Saved by both", ""),
    ("cost_of_losses", "Losses cost", ""),
    ("cost_of_idle", "of it, idle draw", "the inverter's own, day and night"),
)
_CHOSEN = "last_twelve_months"
#: Periods that begin later where there are no readings or no tariff before.
_LONG = ("year_so_far", "last_twelve_months")
_TIMES = " \N{MULTIPLICATION SIGN} "


@dataclass(frozen=True, slots=True)
class PeriodLine:
    """A period in the first table: what it paid, saved and lost, and for how much of it."""

    name: str
    words: str
    begins: str
    cells: tuple[Shown, ...]
    measured: str


@dataclass(frozen=True, slots=True)
class MonthLine:
    """A calendar month: bought, sold, fixed, and together."""

    words: str
    cells: tuple[Shown, ...]


@dataclass(frozen=True, slots=True)
class BandLine:
    """What one band has in a bill; a price and an amount each way."""

    words: str
    note: str
    import_kwh: str
    bought: str
    export_kwh: str
    sold: str


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
        facts=_facts(document, site),
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


def period_line(name: str, document: Document, unit: Unit) -> PeriodLine:
    """Return a period's row: paid, saved, and what losses cost."""
    period = document["periods"][name]
    return PeriodLine(
        name=name,
        words=PERIODS[name],
        begins=""
        if name.endswith("month") or name.startswith("month")
        else f"from {formats.iso_brief(period['from'])}",
        cells=tuple(
            shown(label, period[key], "amount", unit)
            for key, label in (("total", "Paid"), ("saved", "Saved"), ("cost_of_losses", "Lost"))
        ),
        measured=formats.measured(period["bought"]["coverage_ratio"]),
    )


def month_line(month: Document, unit: Unit) -> MonthLine:
    """Return a calendar month's row."""
    return MonthLine(
        words=formats.month_short(date.fromisoformat(month["from"])),
        cells=tuple(
            shown(name, month[name], "amount", unit)
            for name in ("bought", "sold", "fixed", "total")
        ),
    )


def amount_rows(period: Document, unit: Unit) -> list[Shown]:
    """Return every amount of a period."""
    return [shown(label, period[key], "amount", unit, note=note) for key, label, note in _AMOUNTS]


def energy_rows(period: Document) -> list[Shown]:
    """Return the energies that a period's amounts are of."""
    parts = (
        ("bought_wh", "Bought", ""),
        ("sold_wh", "Sold", ""),
        ("losses_wh", "Lost", "on the way"),
    )
    # A thousand and more leave no room for tenths on a phone.
    many = any((period[name]["high_wh"] or 0.0) >= 1e6 for name, _, _ in parts)
    unit = KWH_WHOLE if many else KWH
    return [shown(label, period[name], "wh", unit, note=note) for name, label, note in parts]


def band_line(band: Document, unit: Unit) -> BandLine:
    """Return the row of a band."""
    days = "" if len(band["days"]) == 3 else ", " + " and ".join(band["days"])
    whole = (band["from"], band["to"]) == ("00:00", "24:00")
    hours = "all day" if whole else f"{band['from']} to {band['to']}"
    return BandLine(
        words=f"{band['season'].capitalize()}: {hours}{days}" if band["season"] else hours + days,
        note=f"from {formats.iso_brief(band['tariff_from'])}",
        import_kwh=f"{formats.kwh_whole(band['import_wh'])}{_TIMES}{_price(band['import_price'])}",
        bought=unit.text(band["bought"]),
        export_kwh=f"{formats.kwh_whole(band['export_wh'])}{_TIMES}{_price(band['export_price'])}",
        sold=unit.text(band["sold"]),
    )


def _price(price: float) -> str:
    return money_sentences.exact(Decimal(str(price)))


def reasons_of(document: Document) -> list[str]:
    """Return why numbers of the periods and months are not given, each reason once."""
    found: dict[str, None] = {}
    for name, words in PERIODS.items():
        period = document["periods"][name]
        for key, label, _ in _AMOUNTS:
            if period[key]["amount"] is None:
                found[f"{words}, {label.lower()}: not given, since {period[key]['reason']}"] = None
    for month in document["months"]:
        if month["total"]["amount"] is None:
            words = formats.month_short(date.fromisoformat(month["from"]))
            found[f"{words}: no bill, since {month['total']['reason']}"] = None
    return list(found)


def _facts(document: Document, site: Site) -> dict[str, list[tuple[str, str]]]:
    passed = document["passed"]
    share = PERCENT.text(passed["ratio"])
    within = PERCENT.within(passed["low_ratio"], passed["high_ratio"])
    return {
        "saved": [
            (
                "Inverter passes on",
                f"{share} ({within}), "
                + ("as measured" if passed["measured"] else "assumed: none was measured"),
            )
        ],
        "when": [("As of", f"{document['as_of'].replace('T', ' ')}, {site.timezone}")],
    }
