from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.core.battery.deep_test_plan import target_of
from joulebook.storage.deep_tests import end_test, plan_test, start_test
from joulebook.storage.events import Event, add_event
from joulebook.summaries.record_update import update_record
from joulebook.web import analyses as analyses_of_web
from joulebook.web.analyses import _MOST_KEPT, Analyses
from tests.helpers.analysed_sites import MAX_GAP_S, short_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.databases import write
from tests.helpers.pages import Studio

_END_MS = START_MS + 50 * DAY_MS


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A studio of this module's own, which a test may write to."""
    return short_studio(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def analyses(home: Studio) -> Analyses:
    return Analyses(home.database, max_gap_s=MAX_GAP_S)


def analyse_anew(home: Studio, at_ms: int) -> None:
    event = Event(id=0, at_ms=_END_MS, kind="other", title="A fan", made_ms=at_ms)
    with closing(home.database.connect()) as connection:
        add_event(connection, home.site, event)
    update_record(home.database, home.site, clock_ms=lambda: at_ms, max_gap_s=MAX_GAP_S)


def test_a_document_is_kept_until_the_record_is_analysed_anew(
    home: Studio, analyses: Analyses
) -> None:
    first = analyses.wear(home.site)
    assert analyses.wear(home.site)["nights"] is first["nights"]
    assert analyses.efficiency(home.site)["quarters"] is analyses.efficiency(home.site)["quarters"]
    analyse_anew(home, _END_MS + 1_000)
    assert analyses.wear(home.site)["nights"] is not first["nights"]


def test_newer_readings_make_a_kept_document_say_that_it_is_behind(
    home: Studio, analyses: Analyses
) -> None:
    analyse_anew(home, _END_MS + 2_000)
    first = analyses.wear(home.site)
    assert not first["record"]["behind"]
    with closing(home.database.connect()) as connection:
        write(connection, home.site, "pv", {_END_MS + 60_000: {"power": 5.0}})
    later = analyses.wear(home.site)
    assert later["record"]["behind"]
    assert later["nights"] is first["nights"]


def test_a_record_analysed_by_an_earlier_release_is_told_all_the_same(
    home: Studio, analyses: Analyses, monkeypatch: pytest.MonkeyPatch
) -> None:
    # It has no documents beside it yet.
    other = Analyses(home.database, max_gap_s=MAX_GAP_S)
    monkeypatch.setattr(analyses_of_web, "page_document", lambda *_: None)
    made = other.wear(home.site)
    assert other.wear(home.site)["nights"] is made["nights"]
    monkeypatch.undo()
    assert made["nights"] == analyses.wear(home.site)["nights"]
    monkeypatch.setattr(analyses_of_web, "page_document", lambda *_: None)
    nights = other.nights(home.site)
    assert other.nights(home.site) is nights
    monkeypatch.undo()
    assert nights == analyses.nights(home.site)


def test_what_is_not_analysed_is_not_kept(tmp_path: Path, empty: Studio) -> None:
    analyses = Analyses(empty.database, max_gap_s=MAX_GAP_S)
    assert tmp_path == empty.database.data_dir
    first = analyses.wear(empty.site)
    assert "reason" in first["record"]
    assert analyses.wear(empty.site) is not first
    trip = {"inputs": {"segments_used": 5}, "from": "2026-01-05", "to": "2026-01-06"}
    assert analyses.stretches(empty.site, trip) == []


def test_a_round_trip_by_the_days_has_no_stretches(home: Studio, analyses: Analyses) -> None:
    assert analyses.stretches(home.site, {"inputs": {}}) == []


def test_stretches_are_those_of_the_round_trip_the_newest_first(
    home: Studio, analyses: Analyses
) -> None:
    quarter = analyses.efficiency(home.site)["quarters"][0]
    found = analyses.stretches(home.site, quarter)
    assert analyses.stretches(home.site, quarter) is found
    used = [each for each in found if each.why_not is None]
    assert len(used) == quarter["inputs"]["segments_used"]
    assert found[0].from_ms > found[-1].from_ms
    assert found[0].why_not == "crosses the window's start or end"
    assert sum(each.charge_wh for each in used) == pytest.approx(
        quarter["inputs"]["charge_wh"], rel=0.01
    )


def test_the_oldest_document_goes_where_there_are_too_many(
    home: Studio, analyses: Analyses
) -> None:
    first = analyses.wear(home.site)
    for ah in range(_MOST_KEPT):
        analyses.wear(replace(home.site, battery_ah=300.0 + ah))
    assert analyses.wear(home.site)["nights"] is not first["nights"]


def test_a_test_under_way_is_told_anew_every_minute(home: Studio, analyses: Analyses) -> None:
    assert analyses.deep_tests(home.site, now_ms=_END_MS) == []
    with closing(home.database.connect()) as connection:
        plan_test(connection, home.site, target_of(200.0, 16), note="", planned_ms=START_MS)
    planned = analyses.deep_tests(home.site, now_ms=_END_MS)
    assert analyses.deep_tests(home.site, now_ms=_END_MS + 60_000) is planned
    with closing(home.database.connect()) as connection:
        start_test(connection, home.site, started_ms=_END_MS - DAY_MS)
    (running,) = analyses.deep_tests(home.site, now_ms=_END_MS)
    assert running.progress is not None
    assert analyses.deep_tests(home.site, now_ms=_END_MS)[0] is running
    assert analyses.deep_tests(home.site, now_ms=_END_MS + 60_000)[0] is not running


def test_a_test_that_ended_long_ago_is_kept(home: Studio, analyses: Analyses) -> None:
    # Goes on where the one before it stopped: that test is still open.
    with closing(home.database.connect()) as connection:
        end_test(connection, home.site, ended_ms=_END_MS)
    fresh = analyses.deep_tests(home.site, now_ms=_END_MS)
    assert analyses.deep_tests(home.site, now_ms=_END_MS + 60_000) is not fresh
    settled = analyses.deep_tests(home.site, now_ms=_END_MS + 40 * DAY_MS)
    assert analyses.deep_tests(home.site, now_ms=_END_MS + 41 * DAY_MS) is settled
