import threading
from collections.abc import Generator, Iterator
from concurrent.futures import Future

import pytest

from joulebook.summaries.threads import WORKERS, in_threads


def test_results_come_in_the_order_of_their_tasks() -> None:
    second_done = threading.Event()

    def work(task: int) -> int:
        if task == 0:
            assert second_done.wait(20.0)
        if task == 1:
            second_done.set()
        return task * task

    assert list(in_threads(work, range(5))) == [0, 1, 4, 9, 16]


def test_it_is_never_far_ahead_of_who_takes_the_results() -> None:
    taken: list[int] = []

    def tasks() -> Iterator[int]:
        for task in range(20):
            taken.append(task)
            yield task

    for place, _ in enumerate(in_threads(str, tasks())):
        assert len(taken) <= place + 1 + WORKERS


def test_an_error_comes_after_the_results_before_it() -> None:
    results = in_threads(lambda task: 6 // task, [1, 2, 0, 3])
    assert [next(results), next(results)] == [6, 3]
    with pytest.raises(ZeroDivisionError):
        next(results)


def test_no_tasks_are_no_results() -> None:
    assert list(in_threads(str, [])) == []


def test_what_is_not_begun_is_not_done_once_nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[int] = []
    two_begun, may_end = threading.Semaphore(0), threading.Event()

    def work(task: int) -> int:
        if task > 0:
            two_begun.release()
            assert may_end.wait(20.0)
        done.append(task)
        return task

    results = in_threads(work, range(100), ahead=50)
    assert isinstance(results, Generator)
    assert next(results) == 0
    for _ in range(WORKERS):
        assert two_begun.acquire(timeout=20.0)
    # The two that were begun may end only once the 50 that follow the first were all called off.
    called_off = []
    cancel = Future.cancel

    def noted(future: Future[int]) -> bool:
        called_off.append(cancel(future))
        if len(called_off) == 50:
            may_end.set()
        return called_off[-1]

    monkeypatch.setattr(Future, "cancel", noted)
    results.close()
    assert len(done) < 50
    assert called_off.count(False) == WORKERS
