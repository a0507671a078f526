import re
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.tariffs import withdraw_tariff
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import actor_of
from joulebook.web.backing import Backing
from joulebook.web.shown import Unit
from joulebook.web.words.money_rows import band_line
from tests.helpers.pages import Studio, outline, words_of
from tests.helpers.priced_studio import NOW_MS, priced_pages

PAGE = "/sites/studio/money"
FIGURE = "/sites/studio/figures/money"


def words(studio: Studio, query: str = "") -> str:
    answer = studio.client.get(PAGE + query)
    assert answer.status_code == 200
    return words_of(answer.text).replace("\u2060", "")


def test_the_answer_comes_first(self_serving: Studio) -> None:
    # Ten whole days of June: 20 kWh bought at 0.30, 60 sold at 0.05; 95 % of the month so far.
    text = words(self_serving)
    assert "Energy cost 3." in text
    assert "What it costs, and what it saves" in text
    assert "Panels and battery saved" in text
    assert "was measured; what was not is in no number here." in text


def test_what_is_not_given_says_why(priced: Studio) -> None:
    text = words(priced)
    assert "What energy cost in June 2026 so far is not given: only 76% of the time" in text
    assert "Last month, bought: not given, since nothing was measured in this time" in text
    assert "Jun 2026: no bill, since only 76% of the time" in text
    assert "May 2026: no bill" not in text  # it was before the first reading


def test_twelve_months_by_hand(priced: Studio) -> None:
    # See the helper: 24 kWh bought at 0.10 and 12.8 sold at 0.05; the line of a minute over a
    # step adds half of it. The fee runs on the half day that was not measured too.
    text = words(priced)
    assert "Twelve months in full 3 to 11 June 2026" in text
    assert "Bought 2.41 2.38\N{EN DASH}2.43 94 %" in text
    assert "Sold 0.64 0.63\N{EN DASH}0.65 94 %" in text
    assert "Fixed fee paid whether energy flows or not 8.50 8.50\N{EN DASH}8.50 100 %" in text
    assert "Paid bought, less sold, and the fee 10.27" in text
    assert "Bought 24.0 kWh 23.8\N{EN DASH}24.2 94 %" in text


def test_each_band_has_its_energy_and_price(priced: Studio) -> None:
    text = words(priced)
    assert "00:00 to 06:00 from 1 Jan 2026 2.40 24 \N{MULTIPLICATION SIGN} 0.1" in text
    assert "0.64 13 \N{MULTIPLICATION SIGN} 0.05" in text


def test_a_band_is_named_by_season_hours_and_days() -> None:
    band = {
        "season": "summer",
        "days": ["weekend", "listed"],
        "from": "00:00",
        "to": "24:00",
        "tariff_from": "2026-01-01",
        "import_price": 0.12,
        "export_price": 0.06,
        "import_wh": 1000.0,
        "export_wh": 0.0,
        "bought": 0.12,
        "sold": 0.0,
    }
    line = band_line(band, Unit(1.0, 2, ""))
    assert line.words == "Summer: all day, weekend and listed"
    assert line.import_kwh == "1 \N{MULTIPLICATION SIGN} 0.12"
    assert line.export_kwh == "0 \N{MULTIPLICATION SIGN} 0.06"


def test_another_period_can_be_told_in_full(priced: Studio) -> None:
    text = words(priced, "?period=month_so_far")
    assert "This month so far in full 1 to 11 June 2026" in text
    assert "Twelve months in full" in words(priced, "?period=soon")


def test_the_working_is_one_tap_away(priced: Studio) -> None:
    text = words(priced)
    assert "Each quarter hour has the price of its band by the clock on the wall" in text
    assert re.search(r"Inverter passes on 94\.\d % \(.+?\), as measured", text)
    assert "docs/methods/bill.md, docs/methods/quarter-energy.md" in text
    assert "The utility's meter counts" in text
    assert "2026-06-11 12:00+01:00, Europe/Lisbon" in text


def test_without_a_tariff_the_page_leads_to_it(tmp_path: Path) -> None:
    studio = priced_pages(tmp_path, tariff_from=None)
    answer = studio.client.get(PAGE)
    text = words_of(answer.text)
    assert "No tariff was entered yet, so no amount can be told." in text
    assert "What was bought and sold in twelve months, 3 to 11 June 2026" in text
    assert "Bought 24.0 kWh" in text
    assert {"class": "step", "href": "/sites/studio/setup/tariff"} in outline(answer.text).named(
        "a"
    )
    assert "figures.js" not in answer.text
    figure = studio.client.get(FIGURE).json()
    assert [trace["y"] for trace in figure["data"]] == [[], [], [], []]


def test_a_site_without_readings_waits(empty: Studio) -> None:
    assert "No readings yet" in words(empty)


def test_the_figure_has_a_bar_a_month(self_serving: Studio) -> None:
    figure = self_serving.client.get(FIGURE).json()
    fee, bought, sold, paid = figure["data"]
    assert [trace["name"] for trace in figure["data"]] == ["Fee", "Bought", "Sold", "Paid"]
    # May from the 12th on, which has no bill, and June so far; nothing before.
    assert bought["x"] == sold["x"] == fee["x"] == [0, 1]
    assert bought["y"] == pytest.approx([20 * 2 * 0.30, 10 * 2 * 0.30], rel=0.02)
    assert sold["y"] == pytest.approx([-20 * 6 * 0.05, -10 * 6 * 0.05], rel=0.02)
    assert paid["x"] == [1]


@pytest.mark.parametrize("days", ["", "?from=2026-06-03&to=2026-06-10"])
def test_the_api_gives_the_document(priced: Studio, days: str) -> None:
    document = priced.client.get(f"/api/v1/sites/studio/money{days}").json()
    assert document["currency"] == "EUR"
    assert ("asked" in document["periods"]) is bool(days)
    assert document["periods"]["last_twelve_months"]["bought"]["amount"] == pytest.approx(
        2.40, rel=0.01
    )


def test_the_efficiency_page_says_what_it_costs(
    priced: Studio,
) -> None:
    text = words_of(priced.client.get("/sites/studio/efficiency").text)
    assert "All losses cost since 3 Jun 2026 0.8" in text
    assert "Idle draw costs a year, at your tariff" in text


def test_a_document_is_kept_until_a_quarter_hour_or_a_tariff_passes(tmp_path: Path) -> None:
    studio = priced_pages(tmp_path)
    backing: Backing = studio.client.app.state.backing  # type: ignore[attr-defined]
    analyses, site = backing.analyses, studio.site
    money = analyses.money(site, now_ms=NOW_MS)
    cost = analyses.cost_of_losses(site, now_ms=NOW_MS)
    assert cost is not None
    assert analyses.money(site, now_ms=NOW_MS + 1) is money
    assert analyses.cost_of_losses(site, now_ms=NOW_MS + 1) is cost
    assert analyses.money(site, now_ms=NOW_MS + 900_000) is not money
    with closing(studio.database.connect()) as connection:
        withdraw_tariff(connection, site, 1, now_ms=NOW_MS)
    assert analyses.money(site, now_ms=NOW_MS)["currency"] is None
    assert analyses.cost_of_losses(site, now_ms=NOW_MS) is None


def test_who_may_only_look_is_not_led_to_the_setup(tmp_path: Path) -> None:
    studio = priced_pages(tmp_path, tariff_from=None)
    viewer = Actor(name="rui", kind="person", at={studio.site.id: "viewer"})
    app = studio.client.app
    app.dependency_overrides[actor_of] = lambda: viewer  # type: ignore[attr-defined]
    text = words(studio)
    assert "An owner of the studio can enter what a kilowatt-hour costs." in text
    assert "Enter the tariff" not in text
