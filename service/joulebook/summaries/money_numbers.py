"""Amounts and energies of money as JSON has them: a thousandth of the currency, a tenth of a Wh."""

from dataclasses import replace

from joulebook.core.estimate import Estimate
from joulebook.summaries.numbers import Document, short, suffixed

#: Digits after the point of an amount in a document.
AMOUNT_DIGITS = 3


def amount(estimate: Estimate) -> Document:
    """Return an amount with its ends, rounded half to even. [currency]"""
    return suffixed(_rounded(estimate, AMOUNT_DIGITS), "amount")


def energy(estimate: Estimate) -> Document:
    """Return an energy with its ends. [Wh]"""
    return suffixed(_rounded(estimate, 1), "wh")


def _rounded(estimate: Estimate, digits: int) -> Estimate:
    return replace(
        estimate,
        value=short(estimate.value, digits),
        low=short(estimate.low, digits),
        high=short(estimate.high, digits),
    )
