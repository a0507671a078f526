import json
from contextlib import closing
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.money.tariff import one_price
from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.storage.tariffs import TariffVersion, add_tariff
from joulebook.summaries.money_report import money_report
from tests.helpers.priced_studio import FIRST, LAST, NOW_MS, priced_studio

EFFICIENCY: dict[str, Any] = {
    "conversion": {"ratio": 1.0, "low_ratio": 0.99, "high_ratio": 1.0},
    "idle_w": {
        "value": 50.0,
        "low": 45.0,
        "high": 55.0,
        "coverage_ratio": 0.3,
        "method": "idle-2",
    },
}


def told(house: tuple[Database, Site], *asked: date | None) -> Any:
    """Return the document as a program reads it."""
    days = asked or (None, None)
    document = money_report(*house, *days, efficiency=EFFICIENCY, now_ms=NOW_MS)
    return json.loads(json.dumps(document, allow_nan=False))


def test_a_period_asked_for_by_hand(priced: tuple[Database, Site]) -> None:
    document = told(priced, FIRST, LAST)
    assert (document["currency"], document["as_of"]) == ("EUR", "2026-06-11T12:00+01:00")
    asked = document["periods"]["asked"]
    assert (asked["from"], asked["to"], asked["hours"]) == ("2026-06-03", "2026-06-10", 192.0)
    # See the helper: 24 kWh bought at 0.10, 12.8 kWh sold at 0.05, eight days of 30 a month.
    assert asked["bought_wh"]["wh"] == pytest.approx(24_000, rel=0.003)
    assert asked["bought"]["amount"] == pytest.approx(2.40, rel=0.003)
    assert asked["sold"]["amount"] == pytest.approx(0.64, rel=0.005)
    assert asked["fixed"]["amount"] == pytest.approx(8.0)
    assert asked["total"]["amount"] == pytest.approx(9.76, rel=0.003)
    assert asked["saved"]["amount"] == pytest.approx(8 * 5.78, rel=0.003)
    assert asked["cost_of_losses"]["amount"] == pytest.approx(0.88, rel=0.01)
    assert asked["cost_of_idle"]["amount"] == pytest.approx(0.88, rel=0.01)
    assert asked["bills"]["without_both"] == pytest.approx(48.0, rel=0.003)
    assert [(band["from"], band["to"]) for band in asked["bands"]] == [
        ("00:00", "06:00"),
        ("06:00", "24:00"),
    ]
    assert sum(band["bought"] for band in asked["bands"]) == pytest.approx(
        asked["bought"]["amount"], abs=0.002
    )


def test_every_period_and_month_is_there(priced: tuple[Database, Site]) -> None:
    document = told(priced)
    periods = document["periods"]
    assert {name: (each["from"], each["to"]) for name, each in periods.items()} == {
        "month_so_far": ("2026-06-01", "2026-06-11"),
        "year_so_far": ("2026-06-03", "2026-06-11"),
        "last_month": ("2026-05-01", "2026-05-31"),
        "last_twelve_months": ("2026-06-03", "2026-06-11"),
    }
    # Months before the first reading are not told.
    assert [month["from"] for month in document["months"]] == ["2026-06-01"]
    # Eight of ten and a half days were measured: no bill, but what was bought is told.
    month = periods["month_so_far"]
    assert month["total"]["reason"].startswith("only 76% of the time was measured")
    assert month["bought"]["amount"] == pytest.approx(2.40, rel=0.003)
    assert periods["last_month"]["bought"]["reason"] == "nothing was measured in this time"


def test_without_a_tariff_there_are_energies_and_reasons(tmp_path: Path) -> None:
    document = told(priced_studio(tmp_path, tariff_from=None))
    assert document["currency"] is None
    period = document["periods"]["last_twelve_months"]
    assert period["bought_wh"]["wh"] == pytest.approx(24_000, rel=0.003)
    amounts = [each for each in period.values() if isinstance(each, dict) and "amount" in each]
    assert len(amounts) == 9
    assert {each["reason"] for each in amounts} == {"no tariff was entered"}
    assert period["losses_wh"]["reason"] == "no tariff was entered"


def test_without_a_grid_meter_there_is_no_bill(tmp_path: Path) -> None:
    document = told(priced_studio(tmp_path, "grid"))
    period = document["periods"]["last_twelve_months"]
    for name in ("bought_wh", "bought", "sold", "fixed", "total"):
        assert period[name]["reason"] == "the site has no meter of the grid"
    assert period["saved"]["reason"] == "the site has no meter of the grid or of the load"
    assert period["bills"]["as_it_was"] is None


def test_a_currency_that_changed_is_no_amount(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path)
    other = one_price("$", date(2026, 6, 6), import_price=Decimal("0.2"))
    with closing(database.connect()) as connection:
        add_tariff(connection, site, TariffVersion(id=0, tariff=other, made_ms=2))
    document = told((database, site), FIRST, None)
    asked = document["periods"]["asked"]
    assert asked["total"]["reason"] == "the currency changed in this time: $, EUR"
    assert asked["saved"]["amount"] is None
    assert document["currency"] == "$"


def test_one_open_end_is_today_or_that_day(priced: tuple[Database, Site]) -> None:
    document = told(priced, None, LAST)
    asked = document["periods"]["asked"]
    assert (asked["from"], asked["to"]) == ("2026-06-10", "2026-06-10")


def test_an_assumed_share_says_so(priced: tuple[Database, Site]) -> None:
    database, site = priced
    assumed = EFFICIENCY | {"conversion": {"ratio": None}}
    document = money_report(database, site, None, None, efficiency=assumed, now_ms=NOW_MS)
    assert document["passed"] == {
        "ratio": 0.94,
        "low_ratio": 0.88,
        "high_ratio": 1.0,
        "measured": False,
    }


def test_thirteen_months_are_told_at_most(priced: tuple[Database, Site]) -> None:
    later_ms = NOW_MS + 2 * 366 * 86_400_000
    document = money_report(*priced, None, None, efficiency=EFFICIENCY, now_ms=later_ms)
    months = [month["from"] for month in document["months"]]
    assert (len(months), months[0], months[-1]) == (13, "2027-06-01", "2028-06-01")


def test_a_site_without_readings_has_no_months(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Europe/Lisbon")
    document = money_report(database, site, None, None, efficiency=EFFICIENCY, now_ms=NOW_MS)
    assert document["months"] == []


def test_days_that_end_before_they_begin_are_none(priced: tuple[Database, Site]) -> None:
    with pytest.raises(UsageError, match="from 2026-06-10 to 2026-06-03 is no span of days"):
        told(priced, LAST, FIRST)
    with pytest.raises(UsageError):
        told(priced, date(2027, 1, 1), None)


def test_days_that_are_yet_to_come_have_nothing_measured(priced: tuple[Database, Site]) -> None:
    asked = told(priced, None, date(2027, 1, 1))["periods"]["asked"]
    assert (asked["hours"], asked["total"]["amount"]) == (0.0, None)


@pytest.mark.parametrize("minute", [0, 5, 15])
def test_the_first_minutes_of_a_year_are_no_trouble(
    priced: tuple[Database, Site], minute: int
) -> None:
    begins = datetime(2027, 1, 1, 0, minute, tzinfo=priced[1].zone)
    now_ms = round(begins.timestamp() * 1000)
    document = money_report(*priced, None, None, efficiency=EFFICIENCY, now_ms=now_ms)
    period = document["periods"]["year_so_far"]
    assert period["hours"] == minute // 15 * 0.25
    assert period["bought"]["amount"] is None
    assert document["periods"]["last_twelve_months"]["bought"]["amount"] is not None
