"""Results of many sites anew, from the command line."""

import json
import signal
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.cli import main
from joulebook.cli.options import clock_ms
from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.crew import tasks
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.home_lines import all_numbers, lines_stamp
from joulebook.summaries import stretches
from joulebook.summaries.homes.lines import update_numbers
from joulebook.summaries.recompute import recompute
from tests.helpers.crews import some_homes, stored_results
from tests.helpers.service import start_service


@pytest.fixture
def homes(tmp_path: Path) -> str:
    some_homes(tmp_path / "homes", ("annex", "kiln")).close()
    return str(tmp_path / "homes")


def test_every_site_is_computed_as_each_alone(
    homes: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["recompute", "--every-site", "--data", homes]) == 0
    assert capsys.readouterr().out == "computed: 3 sites, 16 days\n"
    database = Database.open(Path(homes))
    together = stored_results(database)
    for site in ("annex", "kiln", "studio"):
        assert main(["recompute", "--site", site, "--data", homes]) == 0
    assert capsys.readouterr().out == "computed: 2 days\ncomputed: 2 days\ncomputed: 12 days\n"
    assert stored_results(database) == together
    database.close()


def test_analysing_does_what_is_behind_and_no_more(
    homes: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", "--site", "kiln", "--data", homes]) == 0
    assert main(["analyse", "--every-site", "--data", homes]) == 0
    assert main(["analyse", "--every-site", "--json", "--data", homes]) == 0
    first, second, third = capsys.readouterr().out.splitlines()
    assert (first, second) == ("computed: 1 site, 2 days", "computed: 3 sites, 14 days")
    told = json.loads(third)
    assert {each["site"]: each["days"] for each in told["done"]} == {
        "annex": 0,
        "kiln": 0,
        "studio": 0,
    }
    assert (told["failed"], told["left"], told["tried_again"]) == ([], 0, 0)


def test_at_last_every_home_stands_beside_the_others(homes: str) -> None:
    database = Database.open(Path(homes))

    def compared() -> list[bool]:
        with closing(database.connect()) as connection:
            return [home.peers is not None for home in all_numbers(connection)]

    assert main(["analyse", "--site", "kiln", "--data", homes]) == 0
    assert compared() == [False]
    assert main(["analyse", "--every-site", "--data", homes]) == 0
    assert compared() == [True, True, True]
    with closing(database.connect()) as connection:
        before = lines_stamp(connection)
        # The service's own round finds the numbers as they are, and nothing to write.
        assert update_numbers(database, connection, now_ms=clock_ms(), go_on=lambda: True) == 0
        assert lines_stamp(connection) == before
    database.close()


def test_a_site_that_fails_is_named_and_the_others_are_done(
    homes: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def picky(inputs: DayInputs) -> DayResult:
        if "soh" in inputs.site_series["battery"]:  # that is the studio
            raise ArithmeticError("cannot add up")
        return compute_day(inputs)

    monkeypatch.setattr(stretches, "compute_day", picky)
    assert main(["recompute", "--every-site", "--data", homes]) == 4
    said = capsys.readouterr()
    assert said.out.startswith("computed: 2 sites, 4 days\nnot computed: studio: 12 of 12 days ")
    assert "joulebook: 1 site could not be computed\n  where:    studio (first: 12 of" in said.err


def test_a_database_that_is_away_is_worth_another_try(
    homes: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def away(*_arguments: Any, **_named: Any) -> int:
        raise StorageUnavailableError("it is away", where="x", expected="x", next_step="x")

    monkeypatch.setattr(tasks, "recompute", away)
    monkeypatch.setattr("joulebook.cli.computing.RESTS_S", (0.0,))
    assert main(["recompute", "--every-site", "--data", homes]) == 3
    assert "3 sites could not be computed" in capsys.readouterr().err


def test_an_interruption_says_what_was_left(
    homes: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(database: Any, site: Any, **more: Any) -> int:
        days = recompute(database, site, **more)
        if site.name == "studio":
            signal.raise_signal(signal.SIGINT)
        return days

    monkeypatch.setattr(tasks, "recompute", interrupted)
    # As at a terminal: a worker of pytest-xdist pays no heed to Ctrl-C.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    assert main(["recompute", "--every-site", "--data", homes]) == 130
    signal.signal(signal.SIGINT, before)
    said = capsys.readouterr()
    # The annex, the kiln and the studio were begun: each is finished, or finished at night.
    assert said.out.startswith("computed: ")
    assert "Traceback" not in said.err
    assert main(["analyse", "--every-site", "--data", homes]) == 0
    database = Database.open(Path(homes))
    finished = stored_results(database)
    monkeypatch.undo()
    assert main(["recompute", "--every-site", "--data", homes]) == 0
    assert stored_results(database) == finished
    database.close()


@pytest.mark.parametrize(
    "given",
    [
        [],
        ["--site", "kiln", "--every-site"],
        ["--site", "kiln", "--scheduler", "tcp://127.0.0.1:8786"],
        ["--site", "kiln", "--json"],
        ["--every-site", "--scheduler", "127.0.0.1"],
    ],
)
@pytest.mark.parametrize("command", ["recompute", "analyse"])
def test_what_does_not_go_together_is_refused(homes: str, command: str, given: list[str]) -> None:
    assert main([command, *given, "--data", homes]) == 2


def test_without_the_extra_a_scheduler_is_refused_and_the_extra_named(
    homes: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "joulebook.crew.scheduler", None)
    where = ["--scheduler", "tcp://127.0.0.1:8786", "--data", homes]
    assert main(["recompute", "--every-site", *where]) == 2
    assert "joulebook[fleet]" in capsys.readouterr().err


def test_a_service_of_one_house_loads_neither_dask_nor_a_server_s_driver(tmp_path: Path) -> None:
    # Python's own list of what is imported, one line each (manual, -X importtime).
    log = tmp_path / "imports"
    where = ("--data", str(tmp_path / "house"), "--port", "0", "--mqtt-port", "0")
    service = start_service("serve", *where, log=log, settings={"PYTHONPROFILEIMPORTTIME": "1"})
    assert service.end() == 0
    lines = [line for line in log.read_text().splitlines() if line.startswith("import time:")]
    imported = {line.rsplit("|", 1)[1].strip().split(".")[0] for line in lines}
    assert {"joulebook", "numpy", "sqlite3"} <= imported
    assert not {"dask", "distributed", "psycopg", "psycopg_pool"} & imported
