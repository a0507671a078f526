from decimal import Decimal
from typing import Any

import pytest

from joulebook.web.words import money_sentences
from joulebook.web.words.money_sentences import amount_unit

UNIT = amount_unit("EUR")


def number(amount: float | None, half: float = 0.5, reason: str = "nothing was measured") -> Any:
    if amount is None:
        return {"amount": None, "low_amount": None, "high_amount": None, "reason": reason}
    return {"amount": amount, "low_amount": amount - half, "high_amount": amount + half}


def period(**numbers: Any) -> Any:
    return {"from": "2026-06-01", "bought": {"coverage_ratio": 0.994}, **numbers}


def plain(text: str | None) -> str:
    assert text is not None
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{WORD JOINER}", "")


@pytest.mark.parametrize(
    ("amount", "sentence"),
    [
        (18.5, "Energy cost 18.50 EUR (18.00\N{EN DASH}19.00 EUR) in June, all fees in it."),
        (-9.8, "Energy earned 9.80 EUR (9.30\N{EN DASH}10.30 EUR) in June, all fees paid."),
        (None, "What energy cost in June is not given: nothing was measured."),
    ],
)
def test_what_was_paid(amount: float | None, sentence: str) -> None:
    told = money_sentences.paid(period(total=number(amount)), UNIT, when="in June")
    assert plain(told) == sentence


def saved(both: float | None, panels: float | None, battery: float | None) -> Any:
    return period(
        saved=number(both), saved_by_panels=number(panels), saved_by_battery=number(battery)
    )


def test_what_was_saved() -> None:
    assert plain(money_sentences.saved(saved(24.5, 19.1, 5.4), UNIT)) == (
        "Panels and battery saved 24.50 EUR (24.00\N{EN DASH}25.00 EUR): 19.10 EUR by the panels,"
        " 5.40 EUR by the battery."
    )
    assert plain(money_sentences.saved(saved(24.5, None, 24.5), UNIT)).endswith("25.00 EUR).")
    assert plain(money_sentences.saved(saved(-1.0, None, -1.0), UNIT)) == (
        "Panels and battery cost 1.00 EUR more than they saved."
    )
    assert money_sentences.saved(saved(None, None, None), UNIT) is None


def test_when_and_how_much_was_measured() -> None:
    assert money_sentences.so_far(period()) == "in June 2026 so far"
    assert plain(money_sentences.measured(period())).startswith("99.4 % of that time")


def test_a_price_is_as_it_was_entered() -> None:
    assert money_sentences.exact(Decimal("0.3100")) == "0.3100"
    assert money_sentences.exact(Decimal("1E-6")) == "0.000001"
