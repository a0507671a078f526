"""The loads document of a site of round numbers, and of sites that lack something."""

import json
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.corrections import Correction
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site, Value
from joulebook.summaries.loads_report import loads_report
from tests.helpers.carried_sites import DAY_MS, HOUR_MS, carried_site, end_ms
from tests.helpers.databases import write
from tests.helpers.stored_plants import empty_studio

Studio = tuple[Database, Site]


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    database, site = carried_site(tmp_path_factory.mktemp("carried"), inverter_w=6500.0)
    yield database, site
    database.close()


def asked(studio: Studio, *days: date | None, now_ms: int | None = None) -> dict[str, Any]:
    first, last = days or (None, None)
    document = loads_report(*studio, first, last, now_ms=end_ms() if now_ms is None else now_ms)
    read: dict[str, Any] = json.loads(json.dumps(document, allow_nan=False))
    return read


def test_it_tells_of_the_newest_reading(studio: Studio) -> None:
    document = asked(studio)
    assert (document["from"], document["to"]) == ("2026-06-01", "2026-06-10")
    assert document["as_of"] == "2026-06-10T00:00+00:00"
    assert (document["stale"], document["method"]) == (False, "loads-1")
    assert document["inverter_w"] == 6500.0
    assert document["cautions"]


def test_readings_that_are_old_are_said_to_be(studio: Studio) -> None:
    document = asked(studio, now_ms=end_ms() + HOUR_MS)
    assert (document["stale"], document["as_of"]) == (True, "2026-06-10T00:00+00:00")


def test_hours_left_are_those_of_what_was_drawn_since_full(studio: Studio) -> None:
    document = asked(studio)
    # By hand: rated 200 Ah of 16 cells at 3.2 V are 10,240 Wh; 80 of 200 Ah were drawn.
    assert document["usable"]["wh"] == pytest.approx(10_240)
    assert document["usable"]["measured"] is False
    ours = document["left"]["ours"]
    assert document["left"]["used"] == "ours"
    assert ours["wh"] == pytest.approx(0.6 * 10_240, rel=0.01)
    assert ours["full"] == "2026-06-09T11:59+00:00"
    # 400 W of load, of which 0.90 come out: 444 W.
    hours = {(each["load"], each["until"]): each for each in document["hours"]}
    assert hours["now", "empty"]["drawn_w"]["value"] == pytest.approx(400 / 0.9)
    assert hours["now", "empty"]["value"] == pytest.approx(0.6 * 10_240 / 444.4, rel=0.01)
    assert hours["now", "a tenth"]["value"] == pytest.approx(0.5 * 10_240 / 444.4, rel=0.01)
    assert hours["night", "empty"]["low"] < hours["night", "empty"]["value"]
    assert any("as rated" in each for each in document["assumptions"])


def test_an_earlier_day_is_told_as_of_its_end(studio: Studio) -> None:
    document = asked(studio, date(2026, 6, 2), date(2026, 6, 7))
    assert (document["from"], document["to"]) == ("2026-06-02", "2026-06-07")
    assert document["as_of"] == "2026-06-07T23:59+00:00"
    assert document["starts"]["list"][0]["count"] == 6


def test_days_without_readings_have_nothing(studio: Studio, tmp_path: Path) -> None:
    for document in (
        asked(studio, date(2025, 6, 2), date(2025, 6, 7)),
        asked(studio, date(2027, 6, 2), None),
        asked(studio, None, date(2025, 6, 7)),
        asked(empty_studio(tmp_path)),
    ):
        assert document["reason"] == "no readings were taken in these days"
        assert document["hours"] == document["starts"]["list"] == document["outages"]["list"] == []


def test_starts_of_the_site(studio: Studio) -> None:
    starts = asked(studio)["starts"]
    (kettle,) = starts["list"]
    assert kettle["count"] == 9
    assert kettle["step_w"]["value"] == 1500
    assert [leg["step_w"]["value"] for leg in kettle["legs"]] == [1500, 0]
    # By hand: 6500 W less 1900 W, and on L1 3250 W less 1700 W.
    assert kettle["headroom_w"]["value"] == 4600
    assert [leg["headroom_w"]["value"] for leg in kettle["legs"]] == [1550, 3050]
    assert kettle["peak_headroom_w"]["reason"] == "what the inverter is rated for was not entered"
    # 0.6 V over 30 A.
    assert kettle["sag_v"]["value"] == pytest.approx(0.6)
    assert kettle["sag_ohm"]["value"] == pytest.approx(0.02)
    assert kettle["lowest_cell_v"]["value"] == pytest.approx(3.3 - 0.6 / 16 - 0.01)
    assert kettle["high_s"]["low"] == 120
    assert kettle["high_s"]["high"] == 240
    assert starts["highest_load_w"]["value"] == 1900
    assert starts["highest_load_w"]["high"] is None
    assert starts["coverage_ratio"] == pytest.approx(1.0, abs=0.001)
    assert starts["limits"].startswith("read every 60 s: a motor's first instants")


def test_outages_of_the_site(studio: Studio) -> None:
    outages = asked(studio)["outages"]
    (outage,) = outages["list"]
    assert (outages["count"], outage["carried"], outage["on_ratio"]) == (1, "yes", 1.0)
    assert (outage["began"], outage["ended"]) == (
        "2026-06-06T20:00+00:00",
        "2026-06-06T21:00+00:00",
    )
    # By hand: 400 W for an hour.
    assert outage["given_wh"]["value"] == pytest.approx(400)
    assert (outage["length_s"]["low"], outage["length_s"]["high"]) == (59 * 60, 61 * 60)
    assert outage["lowest_v"]["value"] == pytest.approx(52.8)
    assert outages["told_by"].startswith("grid: voltage_l1 and voltage_l2")


def test_a_correction_is_applied(tmp_path: Path) -> None:
    database, site = carried_site(tmp_path)
    doubled = Correction(
        id=1, device="load", quantity="power", kind="scale", value=2.0, made_ms=end_ms() - DAY_MS
    )
    with closing(database.connect()) as connection:
        add_correction(connection, site, doubled)
    document = asked((database, site))
    assert document["load_now"]["value"] == pytest.approx(800)
    assert document["starts"]["list"][0]["step_w"]["value"] == 3000


def test_a_site_that_meters_no_load_says_so(tmp_path: Path) -> None:
    document = asked(carried_site(tmp_path, "load"))
    assert document["hours"] == []
    assert document["hours_reason"] == document["starts"]["reason"] == "no meter reads the load"
    assert document["load_now"]["reason"] == "no meter reads the load"
    (outage,) = document["outages"]["list"]
    assert (outage["carried"], outage["given_wh"]["value"]) == ("unknown", None)


def test_without_ratings_there_are_no_hours_and_yet_all_the_rest(tmp_path: Path) -> None:
    document = asked(carried_site(tmp_path, "load.power_l2", "pv", "battery.voltage", rated=False))
    reason = "the battery's rated charge and cells in series were not entered"
    assert {each["reason"] for each in document["hours"]} == {reason}
    assert document["left"]["used"] is None
    (kettle,) = document["starts"]["list"]
    assert kettle["legs"] == []
    assert kettle["sag_v"]["reason"].startswith("the battery's voltage was not read")
    assert kettle["headroom_w"]["reason"] == "what the inverter is rated for was not entered"


def test_a_grid_without_voltage_gives_no_outages(tmp_path: Path) -> None:
    document = asked(carried_site(tmp_path, "grid.voltage_l1", "grid.voltage_l2", "battery"))
    assert document["outages"]["reason"] == (
        "the site measures neither the grid's voltage nor its frequency"
    )
    assert document["starts"]["list"][0]["change_a"] is None
    assert document["left"]["claim"]["reason"] == "the battery reports no state of charge"


def test_days_in_which_only_the_battery_spoke(tmp_path: Path) -> None:
    database, site = carried_site(tmp_path)
    later_ms = end_ms() + 5 * DAY_MS
    with closing(database.connect()) as connection:
        rows: dict[int, dict[str, Value]] = {
            later_ms: {"soc": 0.5},
            later_ms + 60_000: {"soc": 0.5},
        }
        write(connection, site, "battery", rows, [Column("soc", "/")])
    document = asked((database, site), date(2026, 6, 15), None, now_ms=later_ms + DAY_MS)
    assert document["left"]["claim"]["soc_ratio"] == 0.5
    assert document["load_now"]["reason"].startswith("the load was not measured")
    assert document["starts"]["reason"] == "the load was not measured"
    assert document["outages"]["reason"] == "the grid's voltage was not measured in these days"


def test_outages_hold_where_the_grid_is_corrected(tmp_path: Path) -> None:
    database, site = carried_site(tmp_path)
    with closing(database.connect()) as connection:
        for quantity in ("voltage_l1", "voltage_l2"):
            scale = Correction(
                id=1, device="grid", quantity=quantity, kind="scale", value=0.4, made_ms=end_ms()
            )
            add_correction(connection, site, scale)
    assert asked((database, site))["outages"]["count"] == 1
    with closing(database.connect()) as connection:
        for quantity in ("voltage_l1", "voltage_l2"):
            left_out = Correction(
                id=1, device="grid", quantity=quantity, kind="exclude", made_ms=end_ms()
            )
            add_correction(connection, site, left_out)
    assert asked((database, site))["outages"]["count"] == 0
