import os
from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import pytest

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.errors import DataRefusedError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.days import day_results, dirty_count
from joulebook.summaries import recompute as module
from joulebook.summaries import stretches
from joulebook.summaries.processes import WORTH_DAYS, Helper, with_helper
from joulebook.summaries.recompute import recompute
from joulebook.summaries.results import day_results_of
from joulebook.summaries.stretches import Results, Stretch
from tests.helpers.stored_plants import FIRST, LAST, plant_studio, store

Compute = Callable[[Stretch], Results]


def test_every_day_that_readings_reach_is_computed(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    told: list[tuple[int, int]] = []
    done = recompute(database, site, clock_ms=lambda: 77, progress=lambda *now: told.append(now))
    # Three days of readings, and the days on either side that lie within five minutes of them.
    assert (done, told) == (5, [(5, 5)])
    assert len(day_results_of(database, site, FIRST, LAST)) == 3
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 0
    database.close()


def test_computing_twice_gives_the_same(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    recompute(database, site, clock_ms=lambda: 1)
    before = day_results_of(database, site, None, None)
    recompute(database, site, clock_ms=lambda: 2)
    assert day_results_of(database, site, None, None) == before
    database.close()


def test_another_sites_days_are_left_alone(tmp_path: Path) -> None:
    database, site, plant = plant_studio(tmp_path)
    other = add_site(database, "annex", "Europe/Lisbon")
    store(database, other, plant)
    recompute(database, site, clock_ms=lambda: 1)
    with closing(database.connect()) as connection:
        assert day_results(connection, other.id, None, None) == []
        assert dirty_count(connection) > 0
    database.close()


def test_a_site_without_readings_has_no_days(tmp_path: Path) -> None:
    database, _, _ = plant_studio(tmp_path)
    empty = add_site(database, "annex", "Europe/Lisbon")
    assert recompute(database, empty, clock_ms=lambda: 1) == 0
    database.close()


def test_days_that_fail_are_named_and_stay_dirty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)

    def picky(inputs: DayInputs) -> DayResult:
        if inputs.day == LAST:
            raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", picky)
    with pytest.raises(DataRefusedError, match="1 of 5 days could not be computed") as caught:
        recompute(database, site, clock_ms=lambda: 1)
    assert "ArithmeticError: cannot add up" in caught.value.next_step
    assert [each.date.day for each in day_results_of(database, site, FIRST, LAST)] == [3, 4]
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 1
    database.close()


def test_two_processes_give_the_same_bytes_as_two_threads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path, FIRST, FIRST + timedelta(days=WORTH_DAYS))
    helped: list[Database] = []

    def noting(database: Database, compute: Compute) -> AbstractContextManager[Compute]:
        helped.append(database)
        return with_helper(database, compute)

    def stored() -> list[tuple[date, str, bytes]]:
        assert recompute(database, site, clock_ms=lambda: 1) == WORTH_DAYS + 3
        with closing(database.connect()) as connection:
            assert dirty_count(connection) == 0
            return day_results(connection, site.id, None, None)

    monkeypatch.setattr(module, "with_helper", noting)
    by_processes = stored()
    assert helped == [database]
    monkeypatch.setattr(module, "WORTH_DAYS", 1000)
    assert stored() == by_processes
    assert helped == [database]
    database.close()


def test_an_interruption_ends_the_second_process_and_leaves_the_rest_dirty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site, _ = plant_studio(tmp_path)
    pids: list[int] = []

    def start(database: Database) -> Helper:
        helper = Helper(database)
        pids.append(helper.pid)
        return helper

    def interrupt(_done: int, _of: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "WORTH_DAYS", 1)
    monkeypatch.setattr(module, "TASK_DAYS", 1)
    monkeypatch.setattr(module, "with_helper", partial(with_helper, start=start))
    with pytest.raises(KeyboardInterrupt):
        recompute(database, site, clock_ms=lambda: 1, progress=interrupt)
    with pytest.raises(ProcessLookupError):
        os.kill(pids[0], 0)
    with closing(database.connect()) as connection:
        assert dirty_count(connection) == 4
    database.close()
