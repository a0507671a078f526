"""Days, disks and threads that fail are told and tried again, and hold up nothing else."""

import logging
import threading
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.storage.database import StorageUnavailableError
from joulebook.summaries import stretches
from joulebook.summaries.summariser import FIRST_RETRY_S, Summariser
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.stored_plants import FIRST, LAST, noon_ms, plant_studio
from tests.helpers.turned_clocks import TurnedClock
from tests.service.summaries.running_summariser import SECOND, mark, running


def test_a_day_that_fails_is_named_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock, broken, tries = TurnedClock(noon_ms(LAST, site)), [True], [0]

    def picky(inputs: DayInputs) -> DayResult:
        if inputs.day == SECOND:
            tries[0] += 1
            if broken[0]:
                raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", picky)
    with caplog.at_level(logging.ERROR), running(database, clock) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 4)
        sentence = "day 2026-06-04 of site studio is not computed: ArithmeticError: cannot add up"
        wait_until(lambda: summariser.counts().failing == (sentence,))
        # Too early for another try: a nudge brings the other days, not this one.
        mark(database, site, FIRST)
        summariser.nudge()
        wait_until(lambda: summariser.counts().days_computed == 5)
        assert tries == [1]
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        wait_until(lambda: tries == [2])
        # The second wait is twice as long.
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        mark(database, site, FIRST)
        summariser.nudge()
        wait_until(lambda: summariser.counts().days_computed == 6)
        assert tries == [2]
        broken[0] = False
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        wait_until(lambda: summariser.counts().failing == ())
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
    with running(database, lambda: next(ticks)) as summariser:
        wait_until(lambda: summariser.counts().dirty_days == 0)


def test_a_stretch_that_cannot_be_read_costs_its_days_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)

    def torn(*_args: object, **_kwargs: object) -> None:
        raise ValueError("could not convert string to float")

    with monkeypatch.context() as patch:
        patch.setattr(stretches, "read_pieces", torn)
        with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
            wait_until(lambda: len(summariser.counts().failing) == 5)
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
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().failing == ("the disk failed",))


def test_a_database_that_is_away_is_waited_for(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock = TurnedClock(noon_ms(LAST, site))
    away = database.path.with_suffix(".away")
    with running(database, clock) as summariser:
        wait_until(lambda: summariser.counts().dirty_days == 0)
        wait_until(lambda: summariser.counts().days_computed == 5)
        database.path.rename(away)
        summariser.nudge()
        wait_until(lambda: summariser.counts().failing != ())
        assert summariser.counts().dirty_days == 0  # the last count that it got
        assert "cannot be opened" in summariser.counts().failing[0]
        away.rename(database.path)
        clock.now_ms += round(FIRST_RETRY_S * 1000)
        summariser.nudge()
        wait_until(lambda: summariser.counts().failing == ())


def test_a_bug_in_a_run_is_told_and_does_not_end_the_thread(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    with running(database, TurnedClock(noon_ms(LAST, site))) as summariser:
        wait_until(lambda: summariser.counts().days_computed == 5)
        with closing(database.connect()) as connection:
            connection.execute("ALTER TABLE dirty_days RENAME TO elsewhere")
            summariser.nudge()
            wait_until(lambda: bool(summariser._away))
            connection.execute("ALTER TABLE elsewhere RENAME TO dirty_days")
        assert "no such table" in summariser.counts().failing[0]
        assert summariser.alive


def test_a_summariser_that_dies_is_followed_by_another(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    clock = FailingClock(noon_ms(LAST, site))
    clock.kill_next("summariser")
    summariser = Summariser(database, clock_ms=clock, settle_s=0.0)
    summariser.start()
    wait_until(lambda: not summariser.alive)
    assert summariser.counts().caught_up_ms is None
    summariser.restart()
    wait_until(lambda: summariser.counts().caught_up_ms == clock.now_ms)
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
    wait_until(lambda: summariser.counts().days_computed == 5)
    clock.let_go()
    stuck.join(60)
    assert not stuck.is_alive()
    wait_until(lambda: summariser.silent_s == 0)
    assert summariser.counts().days_computed == 5
    summariser.stop()
    database.close()
