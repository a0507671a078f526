"""Homes computed by real workers of a real scheduler, and all that can go wrong there."""

import os
import pickle
import signal
import threading
from collections.abc import Iterator
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from joulebook.cli import main
from joulebook.crew.places import Place, place_of
from joulebook.crew.report import Report
from joulebook.crew.runs import Run, Tell
from joulebook.crew.tasks import Task
from joulebook.crew.threads import ThreadCrew
from joulebook.errors import UnavailableError
from joulebook.storage.days import dirty_count
from tests.helpers.crews import (
    RunningCrew,
    needs_distributed,
    running_crew,
    some_homes,
    stored_results,
    tasks_of,
)
from tests.helpers.faulty_homes import ALWAYS, HELD, HUNGRY, TWICE, holder_of, triers_of
from tests.helpers.mqtt_inbox import wait_until

pytestmark = pytest.mark.outside
HOMES = tuple(f"home-{number}" for number in range(6))


@pytest.fixture(scope="module")
def crew(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningCrew]:
    preloads = ["joulebook.crew.preload", "tests.helpers.faulty_homes"]
    folder = tmp_path_factory.mktemp("crew")
    with running_crew(folder, workers=2, preloads=preloads, memory="400MiB") as running:
        client = client_of(running)
        client.wait_for_workers(2, timeout=60)
        client.close()
        yield running


def client_of(running: RunningCrew) -> Any:
    from distributed import Client

    return Client(running.address, timeout=60, set_as_default=False)


def watching_crew(running: RunningCrew, place: Place) -> Any:
    """Return the crew, and let it note how many tasks are out at most."""
    from joulebook.crew.scheduler import SchedulerCrew

    class Watching(SchedulerCrew):
        most = 0

        def begin(self, task: Task, tell: Tell) -> None:
            super().begin(task, tell)
            self.most = max(self.most, len(self._out))

    return Watching(running.address, place)


@pytest.mark.parametrize("where", ["file", "server"])
def test_workers_compute_what_threads_do_bit_for_bit(
    tmp_path: Path, crew: RunningCrew, where: str, request: pytest.FixtureRequest
) -> None:
    server = request.getfixturevalue("postgres").emptied_place() if where == "server" else None
    database = some_homes(tmp_path / "data", HOMES, server=server)
    tasks = tasks_of(database)
    threads = ThreadCrew(database)
    assert threads.room() == (3 if where == "server" else 2)  # one more than there are threads
    by_threads = Run(threads, tasks, total=7).go()
    before = stored_results(database)
    workers = watching_crew(crew, place_of(database))
    by_workers = Run(workers, tasks, total=7).go()
    assert stored_results(database) == before
    assert all(len(rows) >= 2 + 4 for rows in before.values())
    assert len(before["studio"]) == 12 + 4  # the days and those beside them, and the documents
    assert digests(by_workers) == digests(by_threads)
    assert len(set(digests(by_workers).values())) == 7
    assert by_workers.days == by_threads.days == 12 + 6 * 2
    # Two workers of one thread: no more than two tasks are out for each.
    assert 2 <= workers.most <= 4
    database.close()


def digests(report: Report) -> dict[str, str]:
    assert report.failed == ()
    return {each.site: each.digest for each in report.done}


def kill_the_holder(data_dir: Path) -> None:
    holder = holder_of(data_dir)
    wait_until(holder.exists)
    os.kill(int(holder.read_text()), signal.SIGKILL)


def test_a_killed_worker_costs_only_its_own_homes_another_try(
    tmp_path: Path, crew: RunningCrew
) -> None:
    names = (HELD, *HOMES[:3], TWICE, ALWAYS)
    database = some_homes(tmp_path / "data", names)
    workers = watching_crew(crew, place_of(database))

    killer = threading.Thread(target=kill_the_holder, args=(tmp_path / "data",))
    killer.start()
    report = Run(workers, tasks_of(database), total=7, rests_s=(0.0, 0.0)).go()
    killer.join()
    assert {each.site for each in report.done} == {"studio", HELD, *HOMES[:3], TWICE}
    [failed] = report.failed
    assert (failed.site, failed.why) == (ALWAYS, "ArithmeticError: cannot add up")
    triers = {name: triers_of(tmp_path / "data", name) for name in (*names, "studio")}
    killed = triers[HELD][0]
    assert len(triers[HELD]) == 2
    assert triers[HELD][1] != killed
    # A try that had ended, whose outcome was still on its way to us, may be made again: one of
    # the killed worker's, a home at most.
    needed = dict.fromkeys(("studio", *HOMES[:3]), 1) | {TWICE: 3, ALWAYS: 3}
    for name, tries in needed.items():
        lost = len(triers[name]) - tries
        assert lost in (0, 1)
        assert triers[name].count(killed) >= lost
    # Two failures of each were told to us; one that got lost on its way counts as a try all the
    # same for the home that fails twice, which is then done at its third.
    unheard = killed in triers[TWICE][:2]
    assert report.left == 0
    assert report.repeated in ((3, 4) if unheard else (4,))
    # And what two tries made is what one makes.
    by_workers = stored_results(database)
    Run(ThreadCrew(database), tasks_of(database), total=7).go()
    assert stored_results(database) | {ALWAYS: []} == by_workers
    database.close()


def test_an_interruption_leaves_finished_homes_finished_and_the_others_as_they_were(
    tmp_path: Path, crew: RunningCrew
) -> None:
    database = some_homes(tmp_path / "data", HOMES)

    def interrupt(_done: int, _of: int) -> None:
        raise KeyboardInterrupt

    workers = watching_crew(crew, place_of(database))
    report = Run(workers, tasks_of(database), total=7, progress=interrupt).go()
    assert report.interrupted
    assert (len(report.done), report.left) == (1, 6)
    client = client_of(crew)
    wait_until(lambda: not any(client.processing().values()))
    client.close()
    there = stored_results(database)
    made = {name for name, rows in there.items() if rows}
    assert report.done[0].site in made
    # One was taken back at least: two were at work, and the others waited.
    assert len(made) < 7
    with closing(database.connect()) as connection:
        dirty = dirty_count(connection)
    assert dirty == sum(12 if name == "studio" else 2 for name in there if name not in made)
    database.close()


def test_what_a_scheduler_is_told_holds_no_place_in_its_keys(
    tmp_path: Path, crew: RunningCrew
) -> None:
    database = some_homes(tmp_path / "data", (HELD,))
    workers = watching_crew(crew, place_of(database))
    workers.begin(Task(kind="recompute", site=HELD, max_gap_s=300.0), lambda _: None)
    wait_until(holder_of(tmp_path / "data").exists)
    client = client_of(crew)
    [key] = [str(key) for keys in client.processing().values() for key in keys]
    assert key == f"recompute-{workers._run}-1"
    kill_the_holder(tmp_path / "data")
    workers.drop()
    client.wait_for_workers(2, timeout=60)
    client.close()
    database.close()


def test_the_command_has_every_site_computed_by_the_workers(
    tmp_path: Path, crew: RunningCrew, capsys: pytest.CaptureFixture[str]
) -> None:
    some_homes(tmp_path / "data", HOMES[:1]).close()
    where = ["--every-site", "--scheduler", crew.address, "--data", str(tmp_path / "data")]
    assert main(["recompute", *where]) == 0
    assert capsys.readouterr().out == "computed: 2 sites, 14 days\n"
    assert main(["analyse", *where]) == 0
    assert capsys.readouterr().out == "computed: 2 sites, 0 days\n"


def test_a_home_that_needs_too_much_memory_is_told_and_the_others_are_done(
    tmp_path: Path, crew: RunningCrew
) -> None:
    database = some_homes(tmp_path / "data", (HUNGRY,))
    report = Run(watching_crew(crew, place_of(database)), tasks_of(database), total=2).go()
    # The other one may have waited beside it, and was then done when nothing else was out.
    assert [each.site for each in report.done] == ["studio"]
    [failed] = report.failed
    assert failed.site == HUNGRY
    assert "each of the 2 workers that were handed it ended" in failed.why
    assert not failed.again
    database.close()


def test_no_scheduler_is_an_error_that_says_how_to_start_one(
    tmp_path: Path, crew: RunningCrew
) -> None:
    del crew  # the extra is there
    from joulebook.crew.scheduler import SchedulerCrew

    with pytest.raises(UnavailableError, match="no scheduler answers") as caught:
        SchedulerCrew("tcp://127.0.0.1:1", Place(tmp_path), answer_s=0.2)
    assert "dask scheduler" in caught.value.next_step


def test_a_scheduler_without_workers_is_waited_for_and_its_end_noticed(tmp_path: Path) -> None:
    needs_distributed()
    from joulebook.crew.scheduler import COUNT_S, SchedulerCrew

    times = count(0.0, COUNT_S)
    with running_crew(tmp_path, workers=0) as running:
        crew, patient = (
            SchedulerCrew(
                *(running.address, Place(tmp_path)),
                patience_s=patience_s,
                answer_s=0.5,
                clock_s=lambda: next(times),
            )
            for patience_s in (5 * COUNT_S, float("inf"))
        )
        assert [crew.room() for _ in range(2)] == [0, 0]
        with pytest.raises(UnavailableError, match="has had no worker for 25 s"):
            [crew.room() for _ in range(4)]
        crew.drop()
        running.processes[0].kill()
        said: list[UnavailableError] = []

        def gone() -> bool:
            try:
                assert patient.room() == 0  # while it may come back
            except UnavailableError as error:
                said.append(error)
            return bool(said)

        wait_until(gone)
        assert said[0].what == "the scheduler has gone"
        patient.drop()


def test_a_task_and_its_place_travel(tmp_path: Path) -> None:

    sent = (Task(kind="analyse", site="studio", max_gap_s=300.0), Place(tmp_path))
    assert pickle.loads(pickle.dumps(sent)) == sent
