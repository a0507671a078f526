"""Handing out tasks and taking them back: a crew whose every answer the test decides."""

from collections.abc import Callable, Iterator
from itertools import count

import pytest

from joulebook.crew.report import failed_sentence
from joulebook.crew.runs import Run, Tell
from joulebook.crew.tasks import Done, Failed, Outcome, Task
from joulebook.errors import UnavailableError


def task(site: str) -> Task:
    return Task(kind="analyse", site=site, max_gap_s=300.0)


def done(site: str) -> Done:
    return Done(site=site, kind="analyse", days=2, seconds=0.1, digest=site)


def failed(site: str, *, again: bool = False, suspect: bool = False) -> Failed:
    return Failed(site=site, kind="analyse", why="no light", again=again, suspect=suspect)


class Scripted:
    """Answers at once, as a test wrote down for each home and try; notes what was out when."""

    def __init__(self, room: int, answers: Callable[[str, int], Outcome | None]) -> None:
        self._room = room
        self._answers = answers
        self.begun: list[str] = []
        self.out: list[tuple[str, Tell]] = []
        self.most = 0
        self.dropped = 0
        self.rooms = 0

    def room(self) -> int:
        self.rooms += 1
        for site, tell in self.out:
            tell(done(site))
        self.out.clear()
        return self._room

    def begin(self, task: Task, tell: Tell) -> None:
        self.begun.append(task.site)
        answer = self._answers(task.site, self.begun.count(task.site))
        if answer is None:
            self.out.append((task.site, tell))
            self.most = max(self.most, len(self.out))
        else:
            tell(answer)

    def drop(self) -> None:
        self.dropped += 1


def test_no_more_is_out_than_there_is_room_for_and_tasks_are_taken_as_they_go(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("joulebook.crew.runs.LOOK_S", 0.001)
    taken: list[str] = []

    def tasks() -> Iterator[Task]:
        for number in range(50):
            taken.append(str(number))
            yield task(str(number))

    crew = Scripted(3, lambda _site, _tries: None)
    told: list[tuple[int, int]] = []

    def progress(ended: int, total: int) -> None:
        told.append((ended, total))
        assert len(taken) <= ended + 3

    report = Run(crew, tasks(), total=50, progress=progress).go()
    assert (len(report.done), report.days, report.failed, report.left) == (50, 100, (), 0)
    assert crew.most == 3
    assert told == [(ended, 50) for ended in range(1, 51)]
    assert (crew.dropped, report.interrupted, report.ended_by) == (1, False, None)


def test_what_fails_is_tried_again_after_a_rest_and_told_after_the_last_try() -> None:
    def answers(site: str, tries: int) -> Outcome:
        if site == "twice" and tries <= 2:
            return failed(site, again=True)
        if site == "always":
            return failed(site, again=True)
        return failed(site) if site == "refused" else done(site)

    crew = Scripted(2, answers)
    times = count(0.0, 0.01)
    tasks = [task(site) for site in ("twice", "refused", "always", "good")]
    rests_s = (0.05, 0.1)
    report = Run(crew, tasks, total=4, rests_s=rests_s, clock_s=lambda: next(times)).go()
    assert {each.site for each in report.done} == {"good", "twice"}
    assert [each.site for each in report.failed] == ["refused", "always"]
    tries = {site: crew.begun.count(site) for site in ("twice", "refused", "always", "good")}
    assert tries == {"twice": 3, "refused": 1, "always": 3, "good": 1}
    assert report.took_s >= 0.15
    assert report.repeated == 4


def test_who_ended_a_worker_is_tried_once_more_alone() -> None:
    """The culprit is told; who only waited beside it is done after all."""

    def answers(site: str, tries: int) -> Outcome | None:
        if site == "culprit" or (site == "beside" and tries == 1):
            return failed(site, suspect=True)
        return done(site)

    crew = Scripted(2, answers)
    sites = ("culprit", "beside", "other")
    report = Run(crew, [task(site) for site in sites], total=3).go()
    assert {each.site for each in report.done} == {"other", "beside"}
    assert [each.site for each in report.failed] == ["culprit"]
    assert sorted(crew.begun) == ["beside", "beside", "culprit", "culprit", "other"]


def test_an_interruption_takes_what_ended_meanwhile_and_leaves_the_rest() -> None:
    class Ending(Scripted):
        def drop(self) -> None:
            super().drop()
            (finished, tell), (stopped, tell_too) = self.out
            tell(done(finished))
            tell_too(failed(stopped))

    crew = Ending(3, lambda site, _tries: done(site) if site == "first" else None)

    def interrupt(_ended: int, _total: int) -> None:
        raise KeyboardInterrupt

    sites = ("first", "second", "third", "fourth")
    report = Run(crew, [task(site) for site in sites], total=4, progress=interrupt).go()
    assert report.interrupted
    assert [each.site for each in report.done] == ["first", "second"]
    assert [each.site for each in report.failed] == ["third"]
    assert report.left == 1


def test_a_crew_that_is_gone_ends_the_run_and_what_is_done_is_told() -> None:
    gone = UnavailableError("gone", where="there", expected="it", next_step="wait")

    class Going(Scripted):
        def room(self) -> int:
            if len(self.begun) == 2:
                raise gone
            return super().room()

    crew = Going(1, lambda site, _tries: done(site))
    report = Run(crew, [task(site) for site in ("first", "second", "third")], total=3).go()
    assert report.ended_by is gone
    assert [each.site for each in report.done] == ["first", "second"]
    assert report.left == 1


def test_anything_else_is_a_bug_and_the_crew_is_let_go() -> None:
    def answers(_site: str, _tries: int) -> Outcome:
        raise ZeroDivisionError

    crew = Scripted(1, answers)
    with pytest.raises(ZeroDivisionError):
        Run(crew, [task("first")], total=1).go()
    assert crew.dropped == 1


def test_it_looks_whether_the_crew_is_there_while_nothing_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("joulebook.crew.runs.LOOK_S", 0.001)

    class Slow(Scripted):
        def room(self) -> int:
            if self.rooms < 3:
                self.rooms += 1
                return 1
            return super().room()

    crew = Slow(1, lambda _site, _tries: None)
    report = Run(crew, [task("first")], total=1).go()
    assert (len(report.done), crew.begun) == (1, ["first"])


def test_many_failures_are_counted_and_some_named() -> None:
    assert failed_sentence([failed("a"), failed("b")]) == "a, b (first: no light)"
    many = [failed(f"home-{number}") for number in range(7)]
    assert failed_sentence(many).startswith("home-0, home-1, home-2, home-3, home-4 and 2 more (")
