from typing import Any

from joulebook.web.figures.money import money_figure
from joulebook.web.figures.palette import PALETTES
from joulebook.web.words.money_sentences import amount_unit


def month(first: str, paid: float | None) -> Any:
    def number(amount: float | None) -> dict[str, float | None]:
        ends = (None, None) if amount is None else (amount - 1, amount + 1)
        return {"amount": amount, "low_amount": ends[0], "high_amount": ends[1]}

    return {
        "from": first,
        "fixed": number(10.0),
        "bought": number(None if paid is None else paid + 5),
        "sold": number(None if paid is None else 15.0),
        "total": number(paid),
    }


def test_bought_and_fee_upwards_and_sold_downwards() -> None:
    months = [month("2026-05-01", 20.0), month("2026-06-01", None), month("2026-07-01", -4.0)]
    drawn = money_figure(months, amount_unit("EUR"), PALETTES["light"])
    fee, bought, sold, paid = drawn["data"]
    assert fee["y"] == [10.0, 10.0, 10.0]
    # A month whose amounts are not given is a gap.
    assert (bought["x"], bought["y"]) == ([0, 2], [25.0, 1.0])
    assert (sold["x"], sold["y"]) == ([0, 2], [-15.0, -15.0])
    assert (paid["x"], paid["y"]) == ([0, 2], [20.0, -4.0])
    assert paid["error_y"]["array"] == [1.0, 1.0]
    assert bought["text"][0] == "May\N{NO-BREAK SPACE}2026<br>Bought: 25.00\N{NO-BREAK SPACE}EUR"
    # Told apart by pattern where the colour is the same.
    assert bought["marker"]["pattern"]["shape"] != sold["marker"]["pattern"]["shape"]


def test_few_ticks_of_many_months() -> None:
    months = [month(f"2026-{number:02d}-01", 1.0) for number in range(1, 13)]
    drawn = money_figure(months, amount_unit("EUR"), PALETTES["dark"])
    assert drawn["layout"]["xaxis"]["tickvals"] == [0, 3, 6, 9]


def test_nothing_is_an_empty_figure() -> None:
    drawn = money_figure([], amount_unit(""), PALETTES["light"])
    assert [trace["x"] for trace in drawn["data"]] == [[], [], [], []]
