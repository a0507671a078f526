"""What is done for one home, and how it is told that it could not be."""

import gc
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from joulebook.core.daily.days import DayInputs, DayResult
from joulebook.crew import tasks
from joulebook.crew.places import Place, kept
from joulebook.crew.runs import Run
from joulebook.crew.tasks import VERSIONS, Done, Failed, Task, perform, perform_at
from joulebook.crew.threads import ThreadCrew
from joulebook.storage.database import Database, ServerPlace, StorageUnavailableError
from joulebook.storage.days import dirty_count
from joulebook.summaries import stretches
from joulebook.summaries.recompute import recompute
from tests.helpers.crews import some_homes, stored_results, tasks_of
from tests.helpers.faulty_homes import ALWAYS, TWICE, faulty, tries_of

RECOMPUTE = Task(kind="recompute", site="home", max_gap_s=300.0)
ANALYSE = replace(RECOMPUTE, kind="analyse")


@pytest.fixture
def home(tmp_path: Path) -> Database:
    return some_homes(tmp_path, ("home",))


def test_done_twice_is_as_done_once(home: Database) -> None:
    first = perform(RECOMPUTE, home)
    stored = stored_results(home)
    again = perform_at(RECOMPUTE, Place(home.data_dir))
    assert isinstance(first, Done)
    assert isinstance(again, Done)
    assert (first.site, first.kind, first.days) == ("home", "recompute", 2)
    assert first.digest == again.digest
    assert stored_results(home) == stored
    assert stored["studio"] == []  # the other home is left alone
    kept(Place(home.data_dir)).close()
    home.close()


def test_at_night_only_what_is_behind_is_computed(home: Database) -> None:
    anew = perform(RECOMPUTE, home)
    nothing = perform(ANALYSE, home)
    assert isinstance(anew, Done)
    assert isinstance(nothing, Done)
    assert (nothing.days, nothing.digest) == (0, anew.digest)
    # And where nothing was computed yet, it is all: the same as anew.
    first = perform(replace(ANALYSE, site="studio"), home)
    second = perform(replace(RECOMPUTE, site="studio"), home)
    assert isinstance(first, Done)
    assert isinstance(second, Done)
    assert (first.days, first.digest) == (second.days, second.digest)
    home.close()


def test_another_version_computes_nothing(home: Database) -> None:
    outcome = perform(replace(RECOMPUTE, versions="joulebook 0.0.9"), home)
    assert isinstance(outcome, Failed)
    assert outcome.why == f"asked for by joulebook 0.0.9, and this worker is {VERSIONS}"
    assert not outcome.again
    assert stored_results(home)["home"] == []
    home.close()


def test_what_may_help_to_try_again_is_told_from_what_does_not(
    home: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails_with(error: Exception) -> tuple[str, bool]:
        def recompute(*_arguments: Any, **_named: Any) -> int:
            raise error

        monkeypatch.setattr(tasks, "recompute", recompute)
        outcome = perform(RECOMPUTE, home)
        assert isinstance(outcome, Failed)
        return outcome.why, outcome.again

    away = StorageUnavailableError("it is away", where="x", expected="x", next_step="x")
    assert fails_with(away) == ("it is away", True)
    assert fails_with(MemoryError("none left")) == ("MemoryError: none left", True)
    nowhere = perform(replace(RECOMPUTE, site="nowhere"), home)
    assert isinstance(nowhere, Failed)
    assert "nowhere" in nowhere.why
    assert not nowhere.again
    home.close()


def test_days_that_no_method_can_take_are_not_tried_again(
    home: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def picky(_inputs: DayInputs) -> DayResult:
        raise ArithmeticError("cannot add up")

    monkeypatch.setattr(stretches, "compute_day", picky)
    outcome = perform(RECOMPUTE, home)
    assert isinstance(outcome, Failed)
    assert outcome.why.startswith("2 of 2 days could not be computed")
    assert not outcome.again
    home.close()


def test_a_database_that_cannot_be_told_is_no_try_worth_repeating(tmp_path: Path) -> None:
    pytest.importorskip("psycopg")
    outcome = perform_at(RECOMPUTE, Place(tmp_path, ServerPlace(url="postgresql://[")))
    assert isinstance(outcome, Failed)
    assert not outcome.again


def test_threads_try_again_and_tell_what_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = some_homes(tmp_path, (ALWAYS, "home", TWICE))
    monkeypatch.setattr(tasks, "recompute", faulty(recompute))
    crew = ThreadCrew(database, threads=2)
    assert crew.room() == 3
    report = Run(crew, tasks_of(database), total=4, rests_s=(0.0, 0.0)).go()
    assert {each.site for each in report.done} == {"home", "studio", TWICE}
    [failed] = report.failed
    assert (failed.site, failed.why) == (ALWAYS, "ArithmeticError: cannot add up")
    tries = [tries_of(tmp_path, site) for site in (ALWAYS, "home", TWICE, "studio", "nobody")]
    assert tries == [3, 1, 3, 1, 0]
    database.close()


def test_threads_end_between_days_when_they_are_told_to(
    home: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.summaries.recompute.TASK_DAYS", 1)
    outcome = perform(RECOMPUTE, home, stopping=lambda: True)
    assert isinstance(outcome, Failed)
    assert outcome.why.startswith("stopped half-way")
    with closing(home.connect()) as connection:
        assert dirty_count(connection) == 12 + 1
    # The nightly work finishes it, and nothing shows that it was stopped.
    finished = perform(ANALYSE, home)
    anew = perform(RECOMPUTE, home)
    assert isinstance(finished, Done)
    assert isinstance(anew, Done)
    assert (finished.days, finished.digest) == (1, anew.digest)
    home.close()


def test_a_worker_is_made_ready() -> None:
    config = pytest.importorskip("dask").config
    with config.set({"distributed.worker.profile.enabled": True}):
        from joulebook.crew.preload import dask_setup

        before = gc.get_freeze_count()
        try:
            dask_setup(SimpleNamespace())
            assert gc.get_freeze_count() > before
        finally:
            gc.unfreeze()
