"""The rows of the page of money, and why a number is not given."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.shown import KWH, KWH_WHOLE, PERCENT, Shown, Unit, shown
from joulebook.web.words import money_sentences
from joulebook.web.words.money_texts import PERIODS

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


def facts_of(document: Document, site: Site) -> dict[str, list[tuple[str, str]]]:
    """Return what the amounts rest on, as pairs of a name and words."""
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
