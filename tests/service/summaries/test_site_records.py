"""The analysis of a site's record: computed once, stored, told by both documents."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.events import Event, add_event
from joulebook.storage.record_results import record_result, save_record_result
from joulebook.storage.records import Column, Site
from joulebook.summaries import site_records
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.recompute import recompute
from joulebook.summaries.record_update import update_record
from joulebook.summaries.record_worker import main as work
from joulebook.summaries.site_records import record_of_days, stored_record
from joulebook.summaries.wear_report import wear_report
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS, IDLE_W, cycled_site
from tests.helpers.databases import write

DAYS = 120


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Site]]:
    database, site = cycled_site(tmp_path_factory.mktemp("records"), DAYS)
    recompute(database, site, clock_ms=lambda: 5)
    update_record(database, site, clock_ms=lambda: 7, max_gap_s=300.0)
    yield database, site
    database.close()


def test_it_is_stored_and_not_behind(home: tuple[Database, Site]) -> None:
    database, site = home
    with closing(database.connect()) as connection:
        stored = stored_record(connection, site)
    assert stored is not None
    assert (stored.computed_ms, stored.behind) == (7, False)
    json.dumps(stored.document, allow_nan=False)


def test_it_is_not_computed_again_for_nothing(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = home
    monkeypatch.setattr(site_records, "analysed", None)
    update_record(database, site, clock_ms=lambda: 9, max_gap_s=300.0)
    with closing(database.connect()) as connection:
        stored = stored_record(connection, site)
        # What an earlier method made counts as nothing.
        found = record_result(connection, site.id, "record")
        assert found is not None
        monkeypatch.setattr(site_records, "RECORD_METHOD", "record-2")
        assert stored_record(connection, site) is None
    assert stored is not None
    assert stored.computed_ms == 7


def test_wear_tells_capacity_with_all_that_it_rests_on(home: tuple[Database, Site]) -> None:
    document = wear_report(*home, None, None)
    latest = document["capacity"][-1]
    # The pack's true capacity is 200 Ah.
    assert latest["low_ah"] < 200.0 < latest["high_ah"]
    assert latest["method"] == "capacity-1"
    assert date.fromisoformat(latest["date"]) <= date(2026, 5, 10)
    assert document["capacity_latest"]["ah"] == pytest.approx(200.0, rel=0.02)
    assert "capacity_reason" not in document
    assert document["fade"]["ratio_per_year"] is None
    assert document["fade"]["reason"]
    warranty = document["warranty"]
    assert (warranty["begins"], warranty["ends"]) == ("2026-01-05", "2036-01-05")
    assert len(warranty["assumed"]) == 3
    assert 0 < warranty["low"] < warranty["high"] <= 1.1
    assert warranty["expected_ratio"] is None
    assert warranty["reason"]
    assert len(document["nights"]["list"]) >= DAYS - 2
    night = document["nights"]["list"][5]
    assert night["counts"]
    assert night["low_ah"] < 200.0 < night["high_ah"]
    assert night["full"].startswith("2026-01-")
    assert document["claims"][0]["soh_ratio"] == 1.0
    assert document["claims_compared"]["soh_less_ours"] == pytest.approx(0.0, abs=0.02)
    assert document["record"]["from"] == "2026-01-05"


def test_cycles_of_a_window_are_a_part_of_the_records(home: tuple[Database, Site]) -> None:
    whole = wear_report(*home, None, None)["efc"]
    # Each night 90 % of the rated 200 Ah goes out and comes back.
    assert whole["total"] == pytest.approx(0.9 * DAYS, rel=0.01)
    assert whole["method"] == "efc-2"
    week = wear_report(*home, date(2026, 2, 1), date(2026, 2, 7))["efc"]
    assert week["total"] == pytest.approx(0.9 * 7, rel=0.02)
    assert week["low"] < week["total"] < week["high"]


def test_round_trip_of_any_window_is_that_from_full_to_full(home: tuple[Database, Site]) -> None:
    document = efficiency_report(*home, None, None)
    trip = document["round_trip"]
    assert trip["method"] == "round-trip-2"
    assert trip["inputs"]["segments_used"] >= DAYS - 3
    assert [each["name"] for each in document["quarters"]] == ["2026-Q1", "2026-Q2"]
    month = efficiency_report(*home, date(2026, 2, 1), date(2026, 2, 28))["round_trip"]
    assert (month["from"], month["to"]) == ("2026-02-01", "2026-02-28")
    assert month["ratio"] == pytest.approx(trip["ratio"], abs=0.003)
    assert month["inputs"]["segments_used"] < 29
    # Three days hold too few full charges; the days' sums stand in.
    few = efficiency_report(*home, date(2026, 2, 1), date(2026, 2, 3))["round_trip"]
    assert few["method"] == "round-trip-1"
    assert document["idle_w"]["method"] == "idle-2"
    assert document["idle_w"]["value"] == pytest.approx(IDLE_W, abs=3.0)
    assert document["loss_w"]["inputs"]["load_w"] > 0


def test_a_record_up_to_a_day_tells_what_was_to_be_told_on_it(
    home: tuple[Database, Site],
) -> None:
    database, site = home
    days = (None, date(2026, 2, 18))
    record = record_of_days(*home, *days, clock_ms=lambda: 11, max_gap_s=300.0)
    wear = wear_report(*home, *days, record=record)
    assert wear["capacity"][-1]["date"] <= "2026-02-18"
    assert wear["record"]["to"] == "2026-02-18"
    # 45 nights, of which the first began in the state of a midnight.
    assert 40 < len(wear["nights"]["list"]) <= 45
    assert efficiency_report(*home, *days, record=record)["idle_w"]["to"] == "2026-02-18"
    # What is stored is still the whole record.
    assert wear_report(*home, None, None)["record"]["to"] > "2026-04-01"
    later = record_of_days(
        database, site, date(2026, 4, 1), None, clock_ms=lambda: 11, max_gap_s=300.0
    )
    april = efficiency_report(*home, date(2026, 4, 1), None, record=later)
    assert april["idle_w"]["from"] == april["round_trip"]["from"] == "2026-04-01"
    assert april["round_trip"]["method"] == "round-trip-2"
    never = record_of_days(
        database, site, None, date(2020, 1, 1), clock_ms=lambda: 11, max_gap_s=300.0
    )
    assert "never read together" in never.document["reason"]


def test_a_window_before_the_readings_has_no_cycles_of_the_record(
    home: tuple[Database, Site],
) -> None:
    empty = wear_report(*home, date(2020, 1, 1), date(2020, 1, 3))["efc"]
    assert empty["total"] is None
    trip = efficiency_report(*home, date(2020, 1, 1), date(2020, 1, 3))["round_trip"]
    assert trip["ratio"] is None


def test_where_the_record_refuses_the_days_stand_in(tmp_path: Path) -> None:
    database, site = cycled_site(tmp_path, 3)
    recompute(database, site, clock_ms=lambda: 5)
    update_record(database, site, clock_ms=lambda: 7, max_gap_s=300.0)
    idle = efficiency_report(database, site, None, None)["idle_w"]
    assert idle["method"] == "idle-1"
    assert idle["value"] is not None
    # Days that came since the record was analysed are counted day by day.
    later_ms = START_MS + 5 * DAY_MS
    with closing(database.connect()) as connection:
        rows = {later_ms + n * 60_000: {"current": 10.0, "power": 500.0} for n in range(60)}
        write(connection, site, "battery", rows, [Column("current", "A"), Column("power", "W")])
    recompute(database, site, clock_ms=lambda: 8)
    assert wear_report(database, site, None, None)["efc"]["method"] == "efc-1"
    database.close()


def test_a_database_that_is_away_is_told_in_four_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert work(tmp_path / "nowhere", "studio", 300.0) == 3
    assert capsys.readouterr().err.startswith("the database cannot be opened")


def test_what_the_owner_enters_makes_it_behind(tmp_path: Path) -> None:
    database, site = cycled_site(tmp_path, 40)
    assert work(tmp_path, "studio", 300.0) == 0
    event_ms = START_MS + 20 * DAY_MS
    event = Event(id=0, at_ms=event_ms, kind="wiring", title="new lugs", made_ms=event_ms)
    with closing(database.connect()) as connection:
        add_event(connection, site, event)
        stored = stored_record(connection, site)
    assert stored is not None
    assert stored.behind
    update_record(database, site, clock_ms=lambda: 9, max_gap_s=300.0)
    document = efficiency_report(database, site, None, None)
    assert [each["title"] for each in document["changes"]] == ["new lugs"]
    # Without dates, what is told is what came after the day of the event.
    assert document["round_trip"]["from"] == "2026-01-26"
    assert document["conversion"]["from"] >= "2026-01-25"
    database.close()


def test_a_site_of_which_nothing_can_be_measured_has_a_reason(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "UTC", battery_ah=200.0, battery_cells=16)
    update_record(database, site, clock_ms=lambda: 1, max_gap_s=300.0)
    wear = wear_report(database, site, None, None)
    assert wear["capacity_reason"] == "the site has no battery device"
    assert wear["warranty"]["ends"] is None
    assert efficiency_report(database, site, None, None)["record"]["reason"] == (
        "the site has no battery device"
    )
    dated = replace(site, installed=date(2026, 1, 1))
    assert wear_report(database, dated, None, None)["warranty"]["ends"] == "2036-01-01"
    database.close()


def test_only_numbers_can_be_stored() -> None:
    with pytest.raises(TypeError, match="object is no JSON"):
        site_records._encoder.encode({"x": object()})


def test_a_later_mark_is_not_overwritten(home: tuple[Database, Site]) -> None:
    database, site = home
    with closing(database.connect()) as connection:
        before = record_result(connection, site.id, "record")
        assert before is not None
        save_record_result(
            connection, site.id, "record", "x", b"", mark=before.mark - 1, computed_ms=1
        )
        assert record_result(connection, site.id, "record") == before
