"""What a person reads first about money."""

from datetime import date
from decimal import Decimal

from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.region.regions import current
from joulebook.web.shown import Unit


def amount_unit(currency: str) -> Unit:
    """Return how amounts are written: hundredths, and the name of the currency behind."""
    return Unit(1.0, 2, currency)


def paid(period: Document, unit: Unit, *, when: str) -> str:
    """Return what was paid in a period, or why that is not given."""
    total = period["total"]
    if total["amount"] is None:
        return f"What energy cost {when} is not given: {total['reason']}."
    within = unit.within(*(abs_ends(total)))
    if total["amount"] < 0:
        return f"Energy earned {unit.text(-total['amount'])} ({within}) {when}, all fees paid."
    return f"Energy cost {unit.text(total['amount'])} ({within}) {when}, all fees in it."


def exact(amount: Decimal) -> str:
    """Return a price as it was entered, with the region's separators."""
    return current().number(f"{amount:f}")


def abs_ends(number: Document) -> tuple[float, float]:
    """Return an amount's interval as it reads in a sentence that says which way money went."""
    low, high = number["low_amount"], number["high_amount"]
    return (-high, -low) if number["amount"] < 0 else (low, high)


def saved(period: Document, unit: Unit) -> str | None:
    """Return what was saved in the same time; ``None`` where a reason was told before."""
    both, panels, battery = (
        period[name] for name in ("saved", "saved_by_panels", "saved_by_battery")
    )
    if both["amount"] is None:
        return None
    parts = [
        f"{unit.text(each['amount'])} by the {name}"
        for name, each in (("panels", panels), ("battery", battery))
        if each["amount"] is not None
    ]
    within = unit.within(both["low_amount"], both["high_amount"])
    told = f": {', '.join(parts)}" if len(parts) > 1 else ""
    if both["amount"] < 0:
        return f"Panels and battery cost {unit.text(-both['amount'])} more than they saved{told}."
    return f"Panels and battery saved {unit.text(both['amount'])} ({within}){told}."


def measured(period: Document) -> str:
    """Return for how much of the time the bill speaks."""
    share = formats.measured(period["bought"]["coverage_ratio"])
    return f"{share} of that time was measured; what was not is in no number here."


def so_far(period: Document) -> str:
    """Return "in November 2026 so far", by the period's first day."""
    return f"in {formats.month_long(date.fromisoformat(period['from']))} so far"
