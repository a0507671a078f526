from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.core.battery.deep_test_plan import target_of
from joulebook.core.corrections import Correction
from joulebook.storage.catalogue import add_site
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Database
from joulebook.storage.deep_tests import end_test, plan_test, start_test
from joulebook.storage.records import Site
from joulebook.summaries.deep_tests import DeepTestReport, deep_test_reports
from tests.helpers.deep_nights import deep_nights, night_ms
from tests.helpers.stored_packs import store_pack

TARGET = target_of(200.0, 16)
#: Logged every five minutes, drawn to 40 % every night and once to 5 %.
DEEP = deep_nights([*[0.4] * 12, 0.05, 0.4], step_s=300)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[Database, Site]]:
    database, site = store_pack(tmp_path, DEEP)
    yield database, site
    database.close()


def begin(home: tuple[Database, Site]) -> None:
    with closing(home[0].connect()) as connection:
        plan_test(connection, home[1], TARGET, note="", planned_ms=night_ms(10, 0))
        start_test(connection, home[1], started_ms=night_ms(12, -1))


def end(home: tuple[Database, Site]) -> None:
    with closing(home[0].connect()) as connection:
        end_test(connection, home[1], ended_ms=night_ms(13, 0))


def report(home: tuple[Database, Site], now_ms: int) -> DeepTestReport:
    [one] = deep_test_reports(*home, now_ms=now_ms, max_gap_s=300.0)
    return one


def test_a_plan_is_only_a_plan(home: tuple[Database, Site]) -> None:
    assert deep_test_reports(*home, now_ms=night_ms(12, 0), max_gap_s=300.0) == []
    with closing(home[0].connect()) as connection:
        plan = plan_test(connection, home[1], TARGET, note="", planned_ms=5)
    assert report(home, night_ms(12, 0)) == DeepTestReport(test=plan)


@pytest.mark.parametrize(("hour", "stage"), [(8.0, "discharging"), (14.9, "at the bottom")])
def test_of_one_under_way_readings_up_to_now_tell_how_far_it_is(
    home: tuple[Database, Site], hour: float, stage: str
) -> None:
    begin(home)
    found = report(home, night_ms(12, hour))
    assert found.progress is not None
    assert (found.progress.stage, found.result) == (stage, None)


def test_one_that_ended_has_a_result_which_readings_after_it_complete(
    home: tuple[Database, Site],
) -> None:
    begin(home)
    end(home)
    found = report(home, night_ms(20, 0))
    assert found.result is not None
    assert (found.progress, found.result.verdict) == (None, "counts")
    assert found.result.capacity.value == pytest.approx(200.0, rel=0.005)


def test_corrected_readings_are_what_it_is_computed_from(tmp_path: Path) -> None:
    # Amperes given in tenths. By hand: every charge is ten times what was stored.
    home = store_pack(tmp_path, replace(DEEP, current_a=DEEP.current_a / 10))
    begin(home)
    end(home)
    before = report(home, night_ms(20, 0))
    assert before.result is not None
    assert before.result.verdict == "does not count"
    tenfold = Correction(
        id=0, device="battery", quantity="current", kind="scale", value=10.0, made_ms=1
    )
    with closing(home[0].connect()) as connection:
        add_correction(connection, home[1], tenfold)
    after = report(home, night_ms(20, 0))
    assert after.result is not None
    assert after.result.capacity.value == pytest.approx(200.0, rel=0.005)
    home[0].close()


def test_without_a_record_it_says_why_nothing_can_be_told(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    home = (database, add_site(database, "studio", "UTC", battery_ah=200.0, battery_cells=16))
    begin(home)
    assert report(home, night_ms(12, 8)).why_not == "the site has no battery device"
    database.close()
