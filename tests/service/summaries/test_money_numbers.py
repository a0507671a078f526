from joulebook.core.estimate import Estimate, refused
from joulebook.summaries.money_numbers import amount, energy

NUMBER = Estimate(value=1.23456, low=1.0004, high=2.0, coverage_ratio=0.5, method="bill-1")


def test_amounts_are_thousandths_and_energies_tenths() -> None:
    assert amount(NUMBER) == {
        "amount": 1.235,
        "low_amount": 1.0,
        "high_amount": 2.0,
        "coverage_ratio": 0.5,
        "method": "bill-1",
    }
    assert energy(NUMBER)["wh"] == 1.2


def test_what_is_not_given_has_its_reason() -> None:
    assert amount(refused("no tariff", method="bill-1")) == {
        "amount": None,
        "low_amount": None,
        "high_amount": None,
        "coverage_ratio": 0.0,
        "method": "bill-1",
        "reason": "no tariff",
    }
