"""The contract's documents, from a plant whose truth is known."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.spans import local_day
from joulebook.storage.database import Database
from joulebook.storage.days import mark_days
from joulebook.storage.records import Column, Site
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.recompute import recompute
from joulebook.summaries.reports import days_report
from joulebook.summaries.wear_report import wear_report
from tests.helpers.databases import write
from tests.helpers.plants import IDLE_W, plant
from tests.helpers.stored_plants import FIRST, empty_studio, plant_studio, store

GAP_FIRST, GAP_LAST = date(2026, 6, 10), date(2026, 6, 16)
#: The names of design and API; more may come.
DAY_FIELDS = {
    "date",
    "hours",
    "coverage_ratio",
    "battery_charge_wh",
    "battery_discharge_wh",
    "pv_wh",
    "load_wh",
    "grid_import_wh",
    "grid_export_wh",
    "loss_wh",
    "efc",
}


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Site]]:
    """Three days, four of silence, seven days; computed."""
    database, site, _ = plant_studio(tmp_path_factory.mktemp("reports"))
    span = local_day(GAP_FIRST, site.zone)
    store(database, site, plant(replace(span, end_ms=local_day(GAP_LAST, site.zone).end_ms)))
    recompute(database, site, clock_ms=lambda: 0)
    yield database, site
    database.close()


def _json(document: dict[str, Any]) -> dict[str, Any]:
    """Return the document as a program reads it; NaN would be an error."""
    read: dict[str, Any] = json.loads(json.dumps(document, allow_nan=False))
    assert (read["site"], read["timezone"]) == ("studio", "America/Chicago")
    return read


def test_days_come_in_order_with_the_contracts_fields(studio: tuple[Database, Site]) -> None:
    days = _json(days_report(*studio, None, None))["days"]
    assert [day["date"] for day in days] == [
        (FIRST + timedelta(days=offset)).isoformat() for offset in range(14)
    ]
    assert all(set(day) >= DAY_FIELDS for day in days)
    second = days[1]
    assert second["hours"] == 24.0
    assert second["coverage_ratio"] == 1.0
    low, high = second["intervals"]["load_wh"]
    assert low < second["load_wh"] < high
    assert second["methods"]["loss_wh"] == "balance-1"
    assert second["coverage"]["loss_wh"] == 1.0
    assert second["reasons"] == {}


def test_silent_days_between_are_there_and_null(studio: tuple[Database, Site]) -> None:
    silent = _json(days_report(*studio, date(2026, 6, 7), date(2026, 6, 8)))["days"]
    assert [day["date"] for day in silent] == ["2026-06-07", "2026-06-08"]
    for day in silent:
        assert (day["readings"], day["coverage_ratio"]) == (0, 0.0)
        assert day["battery_charge_wh"] is None
        assert day["reasons"]["battery_charge_wh"].startswith("no battery readings")
        assert "entered" not in day["reasons"]["efc"]  # the owner did enter the rated charge
        assert "battery_charge_wh" not in day["intervals"]


def test_days_that_wait_to_be_computed_are_left_out(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    assert days_report(database, site, None, None)["days"] == []
    recompute(database, site, clock_ms=lambda: 0)
    with closing(database.connect()) as connection:
        mark_days(connection, site.id, [FIRST])
        connection.execute("DELETE FROM day_results WHERE day = ?", (FIRST.isoformat(),))
    found = days_report(database, site, None, None)["days"]
    assert [day["date"] for day in found] == ["2026-06-04", "2026-06-05"]
    database.close()


def test_a_site_without_readings_has_empty_reports(tmp_path: Path) -> None:
    database, site = empty_studio(tmp_path)
    assert _json(days_report(database, site, None, None))["days"] == []
    efficiency = _json(efficiency_report(database, site, None, None))
    for name, value in (("round_trip", "ratio"), ("conversion", "ratio"), ("idle_w", "value")):
        assert efficiency[name][value] is None
        assert efficiency[name]["reason"]
        assert efficiency[name]["from"] is None
    wear = _json(wear_report(database, site, None, None))
    assert wear["efc"]["total"] is None
    assert wear["efc"]["reason"] == "no day has a result yet"
    database.close()


def test_a_window_apart_from_all_readings_is_empty(studio: tuple[Database, Site]) -> None:
    window = (date(2020, 1, 1), date(2020, 1, 31))
    assert days_report(*studio, *window)["days"] == []
    assert efficiency_report(*studio, *window)["round_trip"]["ratio"] is None


def test_efficiency_of_a_week(studio: tuple[Database, Site]) -> None:
    document = _json(efficiency_report(*studio, GAP_FIRST, GAP_LAST))
    trip = document["round_trip"]
    assert (trip["from"], trip["to"]) == ("2026-06-10", "2026-06-16")
    assert trip["low_ratio"] <= trip["ratio"] <= trip["high_ratio"]
    assert trip["inputs"]["runs"] == 1
    assert trip["inputs"]["stored_change_wh"] / trip["inputs"]["charge_wh"] < 0.25
    assert any("±0.3 A" in words for words in trip["assumptions"])
    conversion, idle = document["conversion"], document["idle_w"]
    # The plant loses 30 W and 4 % of the load.
    ac_wh, hours = conversion["inputs"]["ac_wh"], conversion["inputs"]["hours"]
    assert conversion["ratio"] == pytest.approx(ac_wh / (1.04 * ac_wh + IDLE_W * hours), rel=1e-3)
    assert idle["value"] == pytest.approx(IDLE_W, abs=0.5)
    assert idle["inputs"] == {"days": 7}


def test_silent_days_lower_the_coverage_of_a_window(studio: tuple[Database, Site]) -> None:
    document = efficiency_report(*studio, None, None)
    assert document["round_trip"]["coverage_ratio"] == pytest.approx(10 / 14, abs=0.01)
    assert document["round_trip"]["inputs"]["runs"] == 2


def test_without_the_owners_facts_efficiency_says_what_is_missing(
    studio: tuple[Database, Site],
) -> None:
    database, site = studio
    bare = replace(site, battery_cells=None)
    trip = efficiency_report(database, bare, GAP_FIRST, GAP_LAST)["round_trip"]
    assert "were not entered" in trip["reason"]
    assert trip["inputs"]["rated_wh"] is None


def test_wear_counts_cycles_and_does_not_invent_the_rest(studio: tuple[Database, Site]) -> None:
    document = _json(wear_report(*studio, None, None))
    days = days_report(*studio, None, None)["days"]
    efc = document["efc"]
    assert efc["total"] == pytest.approx(sum(day["efc"] or 0.0 for day in days))
    assert efc["low"] < efc["total"] < efc["high"]
    assert efc["coverage_ratio"] == pytest.approx(10 / 14, abs=0.01)
    assert efc["rated_ah"] == 200.0
    assert document["capacity"] == []
    for name, value in (("fade", "ratio_per_year"), ("warranty", "expected_ratio")):
        assert document[name][value] is None
        assert "has not been analysed yet" in document[name]["reason"]
    assert document["warranty"]["ends"] == "2036-06-01"
    assert document["warranty"]["floor_ratio"] == 0.7
    assert document["warranty"]["verdict"] is None


def test_depths_add_up_to_the_swings_of_the_level(studio: tuple[Database, Site]) -> None:
    bins = wear_report(*studio, GAP_FIRST, GAP_LAST)["depths"]["bins"]
    assert len(bins) == 10
    # One swing a day: seven of them, as whole cycles or halves.
    deep = sum(each["count"] for each in bins if each["from_ratio"] >= 0.1)
    assert 6.0 <= deep <= 8.0


def test_the_batterys_own_state_of_health_is_a_claim(tmp_path: Path) -> None:
    database, site, house = plant_studio(tmp_path)
    at_ms = int(house.at_ms[-1])
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {at_ms: {"soh": 0.97}}, [Column("soh", "/")])
    document = _json(wear_report(database, site, None, None))
    assert document["capacity"] == []
    assert document["claims"] == [
        {
            "device": "battery",
            "soh_ratio": 0.97,
            "at_ms": at_ms,
            "note": "what the battery says of itself; no evidence of capacity",
        }
    ]
    database.close()
