from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from joulebook.summaries.plan_ground import Asked, planned
from joulebook.web.backing import Backing
from joulebook.web.words.plan_rows import lead_of, lines_of
from tests.helpers.pages import Studio, client_of, words_of
from tests.helpers.priced_studio import NOW_MS, priced_studio

PAGE = "/sites/studio/plan"
FIGURE = "/sites/studio/figures/plan"


def words(studio: Studio, query: str = "", status: int = 200) -> str:
    answer = studio.client.get(PAGE + query)
    assert answer.status_code == status
    return words_of(answer.text).replace("\u2060", "")


def test_before_anything_is_asked_the_year_is_told(self_serving: Studio) -> None:
    text = words(self_serving)
    # 2 kWh on each of thirty nights.
    assert "12 May to 11 June 2026 60 kWh were bought. What would change that?" in text
    assert "Your measured year, and the same year" not in text
    assert "licensed electrician" in text
    assert "The inverter's limits are not in it" in text


def test_a_larger_battery(self_serving: Studio) -> None:
    text = words(self_serving, "?battery_kwh=9")
    assert "you would have bought" in text
    assert "instead of 60 kWh" in text
    assert "Energy would have cost" in text
    assert "less (" in text
    assert "Paid, EUR, without fixed fees" in text
    assert "planning-1: docs/methods/planning.md" in text
    assert "its capacity is the one it is rated for: none was measured" in text
    assert "misses energy bought or sold by" in text
    assert "the forecast's table of other uses" in text


def test_more_load_costs_more(self_serving: Studio) -> None:
    # 1 kW from 22:00 to 24:00, when the battery is empty: 60 kWh at 0.30 are 18.
    text = words(self_serving, "?load_kw=1&from=1320&to=1440")
    assert "Energy would have cost 18.00 EUR more" in text
    assert "+60 kWh" in text


def test_what_was_asked_stays_in_its_fields(self_serving: Studio) -> None:
    html = self_serving.client.get(f"{PAGE}?load_kwh=12&first=10&panels=150").text
    assert 'value="12"' in html
    assert 'value="150"' in html
    assert '<option value="10" selected>October</option>' in html


def test_a_number_that_is_none_is_said_beside_its_field(self_serving: Studio) -> None:
    text = words(self_serving, "?battery_kwh=many", 422)
    assert "Something that was asked for needs another look." in text
    assert "The battery holds : A number from 0 to 1000." in text
    figure = self_serving.client.get(f"{FIGURE}?battery_kwh=many").json()
    assert figure["data"] == []


def test_a_simulation_that_misses_says_so(priced: Studio) -> None:
    # Eight days are too few in any case.
    text = words(priced, "?panels=200")
    assert "Nothing can be planned: only 192 hours were measured by all meters at once" in text
    assert priced.client.get(f"{FIGURE}?panels=200").json()["data"] == []


def test_without_a_grid_meter_nothing_can_be_planned(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, "grid", "pv", "battery", tariff_from=None)
    studio = Studio(client_of(database, now_ms=NOW_MS), database, site)
    text = words(studio)
    assert "Nothing can be planned: the site has no meter of the grid or of the load." in text
    assert "Other panels" not in text
    assert studio.client.get(FIGURE).json()["data"] == []


def test_without_a_tariff_only_energies_are_told(self_serving: Studio) -> None:
    backing: Backing = self_serving.client.app.state.backing  # type: ignore[attr-defined]
    found = backing.analyses.plan_ground(self_serving.site, now_ms=NOW_MS)
    ground = replace(found, currency=None)
    plan = planned(ground, Asked(capacity_wh=9000.0, charge_w=1000.0, discharge_w=1000.0))
    assert plan is not None
    assert len(lead_of(ground, plan, asked=True)) == 1
    assert [line.label for line in lines_of(plan, ground)][:3] == ["Bought", "Sold", "Battery full"]
    assert backing.analyses.plan_ground(self_serving.site, now_ms=NOW_MS) is found
    asked = Asked(pv_scale=1.25)
    kept = backing.analyses.plan(self_serving.site, asked, now_ms=NOW_MS)
    assert backing.analyses.plan(self_serving.site, asked, now_ms=NOW_MS + 1) is kept


def test_a_site_without_readings_waits(empty: Studio) -> None:
    assert "No readings yet" in words(empty)


@pytest.mark.parametrize(("query", "more"), [("?panels=200", -1), ("?load_kwh=5", 1)])
def test_the_figure_has_what_was_and_what_would_have_been(
    self_serving: Studio, query: str, more: int
) -> None:
    figure: dict[str, Any] = self_serving.client.get(FIGURE + query).json()
    names = [trace["name"] for trace in figure["data"]]
    assert names == ["Bought", "Would have bought", "Sold", "Would have sold"]
    was, would, sold, would_sell = (sum(trace["y"]) for trace in figure["data"])
    assert was == pytest.approx(60, abs=1)
    assert (would - was) * more >= 0
    assert sold < 0
    assert (would_sell - sold) * more > 0
