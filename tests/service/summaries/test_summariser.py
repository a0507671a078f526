import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path

import pytest

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.days import day_results, dirty_count, mark_days, save_day
from joulebook.storage.records import Site
from joulebook.summaries import stretches
from joulebook.summaries import summariser as summariser_module
from joulebook.summaries.results import day_results_of
from joulebook.summaries.summariser import FIRST_RETRY_S, Summariser
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.stored_plants import FIRST, LAST, noon_ms, plant_studio, until

SECOND = date(2026, 6, 4)


class Clock:
    """A clock that a test turns."""

    def __init__(self, now_ms: int) -> None:
        self.now_ms = now_ms

    def __call__(self) -> int:
        return self.now_ms


@contextmanager
def _running(
    database: Database, clock: Callable[[], int], settle_s: float = 0.0
) -> Iterator[Summariser]:
    summariser = Summariser(database, clock_ms=clock, settle_s=settle_s)
    summariser.start()
    try:
        yield summariser
    finally:
        summariser.stop()
        database.close()


@pytest.fixture
def order(monkeypatch: pytest.MonkeyPatch) -> list[date]:
    """The days in the order of their computing."""
    days: list[date] = []

    def noting(inputs: DayInputs) -> DayResult:
        days.append(inputs.day)
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", noting)
    return days


def _mark(database: Database, site: Site, *days: date) -> None:
    with closing(database.connect()) as connection:
        mark_days(connection, site.id, days)


def test_what_is_dirty_at_the_start_is_computed_today_first(
    tmp_path: Path, order: list[date]
) -> None:
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().dirty_days == 0)
        until(lambda: summariser.counts().days_computed == 5)
        assert summariser.alive
        assert summariser.counts().failing == ()
    assert order == [LAST, date(2026, 6, 2), FIRST, SECOND, date(2026, 6, 6)]
    assert not summariser.alive


def test_a_nudge_brings_results_up_to_date(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().days_computed == 5)
        _mark(database, site, FIRST)
        assert summariser.counts().dirty_days == 1
        summariser.nudge()
        until(lambda: summariser.counts().dirty_days == 0)
        assert len(day_results_of(database, site, FIRST, LAST)) == 3


def test_days_that_another_process_marks_are_found_without_a_nudge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, order: list[date]
) -> None:
    monkeypatch.setattr(summariser_module, "LOOK_AGAIN_S", 0.02)
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().dirty_days == 0)
        before = len(order)
        _mark(database, site, FIRST)
        until(lambda: len(order) > before)
        until(lambda: summariser.counts().dirty_days == 0)
    assert order[before:] == [FIRST]


def test_a_burst_of_nudges_costs_one_run(tmp_path: Path, order: list[date]) -> None:
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site)), settle_s=0.5) as summariser:
        until(lambda: summariser.counts().days_computed == 5)
        for _ in range(50):
            _mark(database, site, FIRST)
            summariser.nudge()
        until(lambda: summariser.counts().dirty_days == 0)
    assert order.count(FIRST) == 2  # at the start, and once for the burst


def test_readings_that_never_pause_are_summed_up_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.summaries.summariser.LONGEST_SETTLE_S", 0.2)
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site)), settle_s=30.0) as summariser:
        until(lambda: summariser.counts().days_computed == 5)
        _mark(database, site, FIRST)

        def nudged_without_pause() -> bool:
            summariser.nudge()
            return summariser.counts().dirty_days == 0

        until(nudged_without_pause)


def test_a_day_that_fails_is_named_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock, broken, tries = Clock(noon_ms(LAST, site)), [True], [0]

    def picky(inputs: DayInputs) -> DayResult:
        if inputs.day == SECOND:
            tries[0] += 1
            if broken[0]:
                raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", picky)
    with caplog.at_level(logging.ERROR), _running(database, clock) as summariser:
        until(lambda: summariser.counts().days_computed == 4)
        sentence = "day 2026-06-04 of site studio is not computed: ArithmeticError: cannot add up"
        until(lambda: summariser.counts().failing == (sentence,))
        # Too early for another try: a nudge brings the other days, not this one.
        _mark(database, site, FIRST)
        summariser.nudge()
        until(lambda: summariser.counts().days_computed == 5)
        assert tries == [1]
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        until(lambda: tries == [2])
        # The second wait is twice as long.
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        _mark(database, site, FIRST)
        summariser.nudge()
        until(lambda: summariser.counts().days_computed == 6)
        assert tries == [2]
        broken[0] = False
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        until(lambda: summariser.counts().failing == ())
        assert summariser.counts().dirty_days == 0


def test_a_failed_day_is_tried_again_without_a_nudge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.summaries.summariser.FIRST_RETRY_S", 0.05)
    database, site, _ = plant_studio(tmp_path)
    ticks = iter(range(noon_ms(LAST, site), 10**15, 20))
    broken = [True]

    def picky(inputs: DayInputs) -> DayResult:
        if inputs.day == SECOND and broken[0]:
            broken[0] = False
            raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", picky)
    with _running(database, lambda: next(ticks)) as summariser:
        until(lambda: summariser.counts().dirty_days == 0)


def test_a_stretch_that_cannot_be_read_costs_its_days_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)

    def torn(*_args: object, **_kwargs: object) -> None:
        raise ValueError("could not convert string to float")

    with monkeypatch.context() as patch:
        patch.setattr(stretches, "read_pieces", torn)
        with _running(database, Clock(noon_ms(LAST, site))) as summariser:
            until(lambda: len(summariser.counts().failing) == 5)
            assert "could not convert string" in summariser.counts().failing[0]
            assert summariser.alive


def test_a_disk_that_fails_while_reading_is_told_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)

    def failing(*_args: object, **_kwargs: object) -> None:
        raise StorageUnavailableError(
            "the disk failed", where=tmp_path, expected="a disk that works", next_step="back up"
        )

    monkeypatch.setattr(stretches, "read_pieces", failing)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().failing == ("the disk failed",))


def test_a_database_that_is_away_is_waited_for(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock = Clock(noon_ms(LAST, site))
    away = database.path.with_suffix(".away")
    with _running(database, clock) as summariser:
        until(lambda: summariser.counts().dirty_days == 0)
        until(lambda: summariser.counts().days_computed == 5)
        database.path.rename(away)
        summariser.nudge()
        until(lambda: summariser.counts().failing != ())
        assert summariser.counts().dirty_days == 0  # the last count that it got
        assert "cannot be opened" in summariser.counts().failing[0]
        away.rename(database.path)
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        until(lambda: summariser.counts().failing == ())


def test_a_bug_in_a_run_is_told_and_does_not_end_the_thread(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().days_computed == 5)
        with closing(database.connect()) as connection:
            connection.execute("ALTER TABLE dirty_days RENAME TO elsewhere")
            summariser.nudge()
            until(lambda: bool(summariser._away))
            connection.execute("ALTER TABLE elsewhere RENAME TO dirty_days")
        assert "no such table" in summariser.counts().failing[0]
        assert summariser.alive


def test_results_of_an_earlier_method_are_computed_anew(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with closing(database.connect()) as connection:
        connection.execute("DELETE FROM dirty_days")
        save_day(connection, site.id, FIRST, "day-0", b"{}", None, 0)
    with _running(database, Clock(noon_ms(LAST, site))) as summariser:
        until(lambda: summariser.counts().days_computed == 1)
        with closing(database.connect()) as connection:
            methods = [method for _, method, _ in day_results(connection, site.id, None, None)]
    assert methods == ["day-1"]


def test_a_stopped_summariser_leaves_the_rest_dirty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)
    summariser = Summariser(database, clock_ms=Clock(noon_ms(SECOND, site)), settle_s=0.0)

    def stopping(inputs: DayInputs) -> DayResult:
        summariser._stopping = True  # as stop() does, while today is being computed
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", stopping)
    summariser.start()
    until(lambda: not summariser.alive)
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 4
    # What was left is taken up by the next start.
    monkeypatch.setattr(stretches, "compute_day", compute_day)
    with _running(database, Clock(noon_ms(SECOND, site))) as again:
        until(lambda: again.counts().dirty_days == 0)


def test_stopping_what_never_started_is_fine(tmp_path: Path) -> None:
    database, _, _ = plant_studio(tmp_path)
    summariser = Summariser(database, clock_ms=lambda: 0)
    summariser.stop()
    assert not summariser.alive
    database.close()


def test_a_summariser_that_dies_is_followed_by_another(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock = FailingClock(noon_ms(LAST, site))
    clock.kill_next("summariser")
    summariser = Summariser(database, clock_ms=clock, settle_s=0.0)
    summariser.start()
    until(lambda: not summariser.alive)
    assert summariser.counts().caught_up_ms is None
    summariser.restart()
    until(lambda: summariser.counts().caught_up_ms == clock.now_ms)
    assert summariser.counts().dirty_days == 0
    assert summariser.alive
    summariser.stop()
    database.close()


def test_a_summariser_that_is_stuck_ends_once_another_took_over(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock = FailingClock(noon_ms(LAST, site))
    clock.hold_next("summariser")
    summariser = Summariser(database, clock_ms=clock, settle_s=0.0)
    summariser.start()
    assert clock.reached.wait(60)
    [stuck] = [thread for thread in threading.enumerate() if thread.name == "summariser"]
    assert summariser.silent_s > 0
    summariser.restart()
    until(lambda: summariser.counts().days_computed == 5)
    clock.let_go()
    stuck.join(60)
    assert not stuck.is_alive()
    until(lambda: summariser.silent_s == 0)
    assert summariser.counts().days_computed == 5
    summariser.stop()
    database.close()
