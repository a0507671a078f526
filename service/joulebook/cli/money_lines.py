"""The money document as lines for a person."""

from joulebook.summaries.numbers import Document

_PERIODS = {
    "month_so_far": "this month so far",
    "last_month": "last month",
    "year_so_far": "this year so far",
    "last_twelve_months": "twelve months",
    "asked": "asked for",
}
_NUMBERS = {
    "total": "paid",
    "saved": "saved by panels and battery",
    "cost_of_losses": "losses cost",
}


def money_lines(document: Document) -> list[str]:
    """Return a line for each number of each period."""
    currency = document["currency"]
    lines = []
    for name, words in _PERIODS.items():
        period = document["periods"].get(name)
        if period is None:
            continue
        lines.append(f"{words}, {period['from']} to {period['to']}")
        lines += [
            f"  {label}: {_amount(period[number], currency)}" for number, label in _NUMBERS.items()
        ]
    return lines


def _amount(number: Document, currency: str | None) -> str:
    if number["amount"] is None:
        return f"not given: {number['reason']}"
    return (
        f"{number['amount']:.2f} {currency}"
        f" ({number['low_amount']:.2f} to {number['high_amount']:.2f}),"
        f" {number['coverage_ratio'] * 100:.0f}% measured"
    )
