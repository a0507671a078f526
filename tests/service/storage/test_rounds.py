"""A thread of rounds that dies, or gets stuck, and the one that takes over."""

import threading

from joulebook.storage.rounds import Rounds
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.mqtt_inbox import WAIT_S, wait_until


def test_a_dead_thread_is_followed_by_another() -> None:
    clock = FailingClock(0)
    clock.kill_next("sweeper")
    rounds = Rounds("sweeper", clock, every_s=60.0, failure="nothing is swept")
    rounds.start()
    assert clock.reached.wait(WAIT_S)
    wait_until(lambda: not rounds.alive)
    assert rounds.runs == 0
    rounds.restart()
    wait_until(lambda: rounds.runs == 1)
    assert rounds.silent_s == 0.0  # it rests
    rounds.stop()
    assert not rounds.alive


def test_a_stuck_thread_is_followed_by_another_and_ends_at_its_next_step() -> None:
    clock = FailingClock(0)
    clock.hold_next("sweeper")
    went_on: list[bool] = []
    threads: list[threading.Thread] = []

    def sweep() -> None:
        threads.append(threading.current_thread())
        clock()
        went_on.append(rounds.pause(0.0))

    rounds = Rounds("sweeper", sweep, every_s=60.0, failure="nothing is swept")
    rounds.start()
    assert clock.reached.wait(WAIT_S)
    wait_until(lambda: rounds.silent_s > 0.0)
    rounds.restart()
    wait_until(lambda: rounds.runs == 1)
    clock.let_go()
    threads[0].join(WAIT_S)
    assert went_on == [True, False]  # the second thread's word, and the first one's
    assert rounds.runs == 1
    rounds.stop()
