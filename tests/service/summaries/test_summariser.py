"""What is dirty is computed, today first: at the start, after a nudge, when others mark days."""

from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.storage.days import day_results, dirty_count, save_day
from joulebook.summaries import stretches
from joulebook.summaries import summariser as summariser_module
from joulebook.summaries.results import day_results_of
from joulebook.summaries.summariser import Summariser
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.stored_plants import FIRST, LAST, noon_ms, plant_studio
from tests.helpers.turned_clocks import TurnedClock
from tests.service.summaries.running_summariser import SECOND, mark, running


@pytest.fixture
def order(monkeypatch: pytest.MonkeyPatch) -> list[date]:
    """The days in the order of their computing."""
    days: list[date] = []

    def noting(inputs: DayInputs) -> DayResult:
        days.append(inputs.day)
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", noting)
    return days


def test_what_is_dirty_at_the_start_is_computed_today_first(
    tmp_path: Path, order: list[date]
) -> None:
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().dirty_days == 0)
        wait_until(lambda: summariser.counts().days_computed == 5)
        assert summariser.alive
        assert summariser.counts().failing == ()
    assert order == [LAST, date(2026, 6, 2), FIRST, SECOND, date(2026, 6, 6)]
    assert not summariser.alive


def test_a_nudge_brings_results_up_to_date(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 5)
        mark(database, site, FIRST)
        assert summariser.counts().dirty_days == 1
        summariser.nudge()
        wait_until(lambda: summariser.counts().dirty_days == 0)
        assert len(day_results_of(database, site, FIRST, LAST)) == 3


def test_days_that_another_process_marks_are_found_without_a_nudge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, order: list[date]
) -> None:
    monkeypatch.setattr(summariser_module, "LOOK_AGAIN_S", 0.02)
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().dirty_days == 0)
        before = len(order)
        mark(database, site, FIRST)
        wait_until(lambda: len(order) > before)
        wait_until(lambda: summariser.counts().dirty_days == 0)
    assert order[before:] == [FIRST]


def test_a_burst_of_nudges_costs_one_run(tmp_path: Path, order: list[date]) -> None:
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site)), settle_s=0.5) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 5)
        for _ in range(50):
            mark(database, site, FIRST)
            summariser.nudge()
        wait_until(lambda: summariser.counts().dirty_days == 0)
    assert order.count(FIRST) == 2  # at the start, and once for the burst


def test_readings_that_never_pause_are_summed_up_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.summaries.summariser.LONGEST_SETTLE_S", 0.2)
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site)), settle_s=30.0) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 5)
        mark(database, site, FIRST)

        def nudged_without_pause() -> bool:
            summariser.nudge()
            return summariser.counts().dirty_days == 0

        wait_until(nudged_without_pause)


def test_results_of_an_earlier_method_are_computed_anew(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        connection.execute("DELETE FROM dirty_days")
        save_day(connection, site.id, FIRST, "day-0", b"{}", None, 0)
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 1)
        with closing(database.connect()) as connection:
            methods = [method for _, method, _ in day_results(connection, site.id, None, None)]
    assert methods == ["day-1"]


def test_a_stopped_summariser_leaves_the_rest_dirty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)
    summariser = Summariser(database, clock_ms=TurnedClock(noon_ms(SECOND, site)), settle_s=0.0)

    def stopping(inputs: DayInputs) -> DayResult:
        summariser._stopping = True  # as stop() does, while today is being computed
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", stopping)
    summariser.start()
    wait_until(lambda: not summariser.alive)
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 4
    # What was left is taken up by the next start.
    monkeypatch.setattr(stretches, "compute_day", compute_day)
    with running(database, TurnedClock(noon_ms(SECOND, site))) as again:
        wait_until(lambda: again.counts().dirty_days == 0)


def test_stopping_what_never_started_is_fine(tmp_path: Path) -> None:
    database, _, _ = plant_studio(tmp_path)
    summariser = Summariser(database, clock_ms=lambda: 0)
    summariser.stop()
    assert not summariser.alive
    database.close()
