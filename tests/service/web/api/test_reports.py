import pytest

from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.loads_report import loads_report
from joulebook.summaries.reports import days_report
from joulebook.summaries.wear_report import wear_report
from tests.helpers.pages import NOW_MS, Studio

_SITE = "/api/v1/sites/studio"


def test_the_list_of_sites(studio: Studio) -> None:
    assert studio.client.get("/api/v1/sites").json() == {
        "sites": [
            {
                "name": "studio",
                "timezone": "Europe/Lisbon",
                "battery_ah": 200.0,
                "battery_cells": 16,
            }
        ]
    }


def test_days_are_the_report_and_hold_what_was_fed_in(studio: Studio) -> None:
    document = studio.client.get(f"{_SITE}/days").json()
    assert document == days_report(studio.database, studio.site, None, None)
    tuesday = next(day for day in document["days"] if day["date"] == "2026-02-24")
    # By hand, see the helper: 1500 W and 1000 W for 24 h, 400 W for 12 h each way; the line
    # from +400 W to -400 W within 5 min costs 400 * 5 / 60 / 4 Wh of either.
    assert tuesday["pv_wh"] == pytest.approx(36_000)
    assert tuesday["load_wh"] == pytest.approx(24_000)
    assert tuesday["battery_charge_wh"] == pytest.approx(4_800, rel=0.01)
    assert tuesday["loss_wh"] == pytest.approx(2_400, rel=0.02)


def test_days_from_and_to_are_both_included(studio: Studio) -> None:
    answer = studio.client.get(f"{_SITE}/days", params={"from": "2026-02-24", "to": "2026-02-26"})
    dates = [day["date"] for day in answer.json()["days"]]
    assert dates == ["2026-02-24", "2026-02-25", "2026-02-26"]


def test_efficiency_is_the_report(studio: Studio) -> None:
    document = studio.client.get(f"{_SITE}/efficiency").json()
    assert document == efficiency_report(studio.database, studio.site, None, None)
    assert "round_trip" in document


def test_wear_is_the_report(studio: Studio) -> None:
    document = studio.client.get(f"{_SITE}/wear").json()
    assert document == wear_report(studio.database, studio.site, None, None)
    assert document["efc"]["total"] > 0


def test_checks_are_the_report_up_to_now(studio: Studio) -> None:
    document = studio.client.get(f"{_SITE}/checks").json()
    assert document == checks_report(studio.database, studio.site, None, None, now_ms=NOW_MS)
    assert {each["name"] for each in document["checks"]} >= {"heard", "sign"}


def test_loads_are_the_report_up_to_now(studio: Studio) -> None:
    document = studio.client.get(f"{_SITE}/loads").json()
    assert document == loads_report(studio.database, studio.site, None, None, now_ms=NOW_MS)
    # 1000 W all day, see the helper.
    assert document["load_now"]["value"] == pytest.approx(1000)


@pytest.mark.parametrize("report", ["days", "efficiency", "wear", "loads", "checks"])
def test_a_date_that_is_none_is_a_problem(studio: Studio, report: str) -> None:
    answer = studio.client.get(f"{_SITE}/{report}", params={"to": "tomorrow"})
    assert answer.status_code == 422
    assert answer.json()["where"] == "query parameter 'to'"


def test_a_site_without_readings_has_no_days(empty: Studio) -> None:
    assert empty.client.get(f"{_SITE}/days").json()["days"] == []
