import tomllib
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.money.tariff import Band, Season
from joulebook.core.money.tariff_checks import TariffError
from joulebook.core.money.tariff_text import document_of, tariff_of
from joulebook.demo.tariff import TARIFF
from tests.helpers.priced import two_bands

ROOT = Path(__file__).parents[4]
LEAST: dict[str, Any] = {
    "currency": "EUR",
    "from": date(2026, 1, 1),
    "band": [{"import": Decimal("0.31")}],
}


def faults_of(document: dict[str, Any]) -> list[tuple[str, str]]:
    with pytest.raises(TariffError) as caught:
        tariff_of(document)
    return [(fault.where, fault.what) for fault in caught.value.faults]


def test_the_example_says_what_the_demonstration_has() -> None:
    text = (ROOT / "docs" / "examples" / "tariff.toml").read_text(encoding="utf-8")
    assert tariff_of(tomllib.loads(text, parse_float=Decimal)) == TARIFF


@pytest.mark.parametrize("tariff", [TARIFF, two_bands(fixed_per_month="11.5")])
def test_a_document_gives_the_tariff_back(tariff: Any) -> None:
    assert tariff_of(document_of(tariff)) == tariff


def test_one_price_all_day_is_enough() -> None:
    tariff = tariff_of(LEAST)
    assert tariff.seasons == (Season(bands=(Band(import_price=Decimal("0.31")),)),)
    assert (tariff.fixed_per_day, tariff.listed_dates) == (Decimal(0), ())


def test_days_may_be_one_word() -> None:
    bands = [{"days": "weekdays", "import": 1}, {"days": ["listed", "weekend"], "import": 2}]
    tariff = tariff_of(LEAST | {"band": bands})
    assert [band.days for band in tariff.seasons[0].bands] == [("weekdays",), ("weekend", "listed")]


def test_what_is_well_formed_is_checked_too() -> None:
    assert faults_of(LEAST | {"band": [{"to": "06:00", "import": 1}]}) == [
        ("season 1, band", "no band holds at 06:00 on weekdays"),
        ("season 1, band", "no band holds at 06:00 on the weekend"),
    ]


@pytest.mark.parametrize(
    ("change", "where", "what"),
    [
        ({"currency": 3}, "currency", "3 is no text"),
        ({"from": "1.1.2026"}, "from", "'1.1.2026' is no date"),
        ({"from": "2026-13-01"}, "from", "'2026-13-01' is no date"),
        ({"from": datetime(2026, 1, 1)}, "from", "datetime.datetime(2026, 1, 1, 0, 0) is no date"),  # noqa: DTZ001 -- as TOML gives a local time
        ({"colour": 1}, "colour", "unknown key"),
        ({"listed_dates": "all"}, "listed_dates", "'all' is no list"),
        ({"listed_dates": [5]}, "listed_dates 1", "5 is no date"),
        ({"season": {}}, "season", "this is no list of tables"),
        ({"season": [1], "band": []}, "band", "bands beside seasons"),
        ({"fixed_per_day": "1,5"}, "fixed_per_day", "'1,5' is no amount"),
        ({"fixed_per_day": True}, "fixed_per_day", "True is no amount"),
        ({"fixed_per_day": 1.5}, "fixed_per_day", "1.5 is no amount"),
        ({"band": [{}]}, "season 1, band 1, import", "there is no price"),
        ({"band": [{"import": 1, "days": ["friday"]}]}, "season 1, band 1, days", "['friday']"),
        ({"band": [{"import": 1, "days": 5}]}, "season 1, band 1, days", "5 are no days"),
        ({"band": [{"import": 1, "from": 7}]}, "season 1, band 1, from", "7 is no time"),
        ({"band": [{"import": 1, "to": "24:15"}]}, "season 1, band 1, to", "'24:15' is no time"),
        ({"band": [{"import": 1, "to": "07:60"}]}, "season 1, band 1, to", "'07:60' is no time"),
    ],
)
def test_what_cannot_be_is_named(change: dict[str, Any], where: str, what: str) -> None:
    said = [fault for place, fault in faults_of(LEAST | change) if place == where]
    assert said
    assert said[0].startswith(what)


def test_a_season_without_a_day_of_the_year_is_named() -> None:
    season = {"first": "1 April", "band": LEAST["band"]}
    document = {**LEAST, "season": [season]}
    del document["band"]
    assert faults_of(document) == [("season 1, first", "'1 April' is no month and day")]


def test_what_is_missing_is_named() -> None:
    assert faults_of({}) == [
        ("currency", "there is no currency"),
        ("from", "there is no date"),
    ]
