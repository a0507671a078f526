"""What the watchdog does to workers that die or get stuck, by a clock that the test turns."""

import logging
import threading

import pytest

from joulebook.cli import watchdog as watchdog_module
from joulebook.cli.watchdog import WELL_AGAIN_S, Watchdog, Watched
from joulebook.web.watch.health import WorkerHealth
from tests.helpers.mqtt_inbox import wait_until


class Puppet:
    """A worker that does as it is told."""

    def __init__(self) -> None:
        self.alive = True
        self.silent_s = 0.0
        self.helps = True
        self.restarts = 0
        self.fault: Exception | None = None

    def restart(self) -> None:
        self.restarts += 1
        if self.fault is not None:
            raise self.fault
        if self.helps:
            self.alive, self.silent_s = True, 0.0


class Stage:
    """A watchdog, one worker, and a clock."""

    def __init__(self, *, vital: bool = False, most_starts: int = 5) -> None:
        self.worker = Puppet()
        self.now_s = 0.0
        self.gave_up: list[str] = []
        self.well = 0
        watched = Watched(
            name="sweeper",
            worker=self.worker,
            patience_s=60.0,
            without="nothing is swept",
            vital=vital,
            most_starts=most_starts,
        )
        self.watchdog = Watchdog(
            [watched],
            give_up=self.gave_up.append,
            all_well=self._count,
            now_s=lambda: self.now_s,
        )

    def _count(self) -> None:
        self.well += 1

    def look(self, after_s: float = 1.0) -> WorkerHealth:
        self.now_s += after_s
        self.watchdog.look()
        [worker] = self.watchdog.workers()
        return worker

    def starts_within(self, seconds: int) -> list[float]:
        """Look every second and return when the worker was started again."""
        at_s = []
        for _ in range(seconds):
            before = self.worker.restarts
            self.look()
            if self.worker.restarts != before:
                at_s.append(self.now_s)
        return at_s


def test_a_worker_that_gets_on_is_left_alone() -> None:
    stage = Stage()
    stage.worker.silent_s = 60.0
    assert stage.look() == WorkerHealth(name="sweeper")
    assert stage.worker.restarts == 0


def test_a_dead_worker_is_started_again_and_it_is_said(caplog: pytest.LogCaptureFixture) -> None:
    stage = Stage()
    stage.worker.alive = False
    with caplog.at_level(logging.WARNING):
        first = stage.look()
        second = stage.look()
    assert first == WorkerHealth(
        name="sweeper",
        restarts=1,
        problem="the sweeper has stopped, nothing is swept: it is started again by itself; "
        "if this stays, restart the service",
    )
    assert second == WorkerHealth(name="sweeper", restarts=1)
    assert [record.getMessage() for record in caplog.records] == [
        "the sweeper has stopped: nothing is swept",
        "starting the sweeper again, time 1",
        "the sweeper works again",
    ]


def test_a_stuck_worker_is_followed_by_another() -> None:
    stage = Stage()
    stage.worker.silent_s = 61.0
    told = stage.look()
    assert told.problem is not None
    assert told.problem.startswith("the sweeper has been stuck for 61 s, nothing is swept")
    assert stage.worker.restarts == 1
    assert stage.look().problem is None


def test_pauses_between_starts_grow_up_to_an_hour() -> None:
    stage = Stage()
    stage.worker.alive = stage.worker.helps = False
    # By hand: at once, then 2, 4, 8 ... 2048 s later, then every 3600 s.
    expected = [1.0]
    for pause_s in (2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048, 3600, 3600):
        expected.append(expected[-1] + pause_s)
    assert stage.starts_within(12_000) == expected
    assert stage.gave_up == []


def test_after_a_long_time_of_work_the_next_fault_is_a_first_one() -> None:
    stage = Stage()
    for _ in range(3):
        stage.worker.alive = False
        stage.look(after_s=100.0)
    stage.look()
    stage.look(after_s=WELL_AGAIN_S + 8.0)
    stage.worker.alive = stage.worker.helps = False
    now_s = stage.now_s
    assert stage.starts_within(3) == [now_s + 1.0, now_s + 3.0]


def test_a_stuck_worker_is_not_followed_by_a_thread_without_end() -> None:
    stage = Stage()
    stage.worker.silent_s, stage.worker.helps = 100.0, False
    assert len(stage.starts_within(5000)) == 5
    told = stage.look()
    assert told.problem is not None
    assert told.problem.endswith("nothing is swept: restart the service, and report the log")
    assert stage.gave_up == []
    stage.worker.silent_s = 0.0  # it got further after all
    assert stage.look().problem is None


def test_a_vital_worker_that_cannot_be_helped_takes_the_process_with_it() -> None:
    stage = Stage(vital=True)
    stage.worker.alive = stage.worker.helps = False
    assert len(stage.starts_within(5000)) == 5
    assert stage.gave_up == ["the sweeper has stopped, and cannot be helped"]


def test_what_cannot_be_started_again_at_all_gives_up_at_once() -> None:
    stage = Stage(vital=True, most_starts=0)
    stage.worker.silent_s = 61.0
    stage.look()
    assert stage.worker.restarts == 0
    assert stage.gave_up == ["the sweeper has been stuck for 61 s, and cannot be helped"]


def test_all_is_well_only_while_every_vital_worker_gets_on() -> None:
    stage = Stage(vital=True)
    stage.look()
    stage.worker.alive = False
    stage.look()
    assert stage.well == 1
    stage.look()
    assert stage.well == 2
    other = Stage(vital=False)
    other.worker.alive = False
    other.look()
    assert other.well == 1


def test_a_start_that_fails_is_told_and_tried_again(caplog: pytest.LogCaptureFixture) -> None:
    stage = Stage()
    stage.worker.alive, stage.worker.fault = False, RuntimeError("can't start new thread")
    assert stage.starts_within(3) == [1.0, 3.0]
    assert "the sweeper could not be started again" in caplog.text
    assert "can't start new thread" in caplog.text


def test_it_looks_in_a_thread_of_its_own_until_it_is_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(watchdog_module, "LOOK_S", 0.005)
    stage = Stage()
    stage.worker.alive = False
    stage.watchdog.start()
    wait_until(lambda: stage.worker.restarts == 1)
    stage.watchdog.stop()
    stage.worker.alive = False
    assert "watchdog" not in {thread.name for thread in threading.enumerate()}
    assert stage.worker.restarts == 1
