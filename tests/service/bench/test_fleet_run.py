"""Fleets are measured whole, on a file and on a server, and wrong answers end a run."""

import json
from pathlib import Path
from typing import Any

import pytest

from joulebook.bench import fleet_costs, fleet_home
from joulebook.bench.fleet_costs import Costs
from joulebook.bench.fleet_ground import Ground
from joulebook.bench.fleet_machines import BEGIN, END
from joulebook.bench.fleet_report import COSTS, FleetReport, lines_of
from joulebook.bench.fleet_run import FleetSize
from joulebook.bench.fleet_sites import Hours, Street
from joulebook.bench.fleet_table import fleet_lines
from joulebook.bench.fleet_visits import visited_ms
from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.quiet import Quietness
from joulebook.cli import bench_fleet, main
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.proving_ground import require_empty
from tests.helpers.fleet_runs import round_run
from tests.helpers.postgres import PostgresServer

SMALL = FleetSize(
    homes=(1, 3),
    rounds=2,
    hours=Hours(instants=3, step_s=150, variants=2),
    visits=2,
    home_days=1,
    is_quick=True,
)


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    """The document of a quick run in files."""
    with pytest.MonkeyPatch.context() as patch:
        printed: list[str] = []
        patch.setattr("builtins.print", lambda text: printed.append(text))
        assert main(["bench", "--fleet", "--quick", "--json"]) == 0
    document: dict[str, Any] = json.loads(printed[0])
    return document


def test_every_cost_has_totals_and_an_exponent_with_its_interval(told: dict[str, Any]) -> None:
    assert [cost["key"] for cost in told["costs"]] == [
        each.key for each in COSTS if each.key != "vacuum"
    ]  # a file has none
    for cost in told["costs"]:
        assert set(cost["totals"]) == {"2", "4", "8"}
        assert min(cost["totals"].values()) > 0
        for growth in (cost["exponent"], cost["exponent_of_the_last_step"]):
            assert growth["low"] <= growth["exponent"] <= growth["high"]
        assert cost["exponent"]["rounds"] == 6
        assert cost["holds"] == (cost["exponent"]["exponent"] <= 1.05)


def test_conditions_say_where_the_homes_lived(told: dict[str, Any]) -> None:
    conditions = told["conditions"]
    assert (conditions["store"], conditions["synchronous"]) == ("SQLite file", "FULL")
    assert conditions["homes"] == [2, 4, 8]
    assert conditions["quick"] is True
    assert {"load_before", "load_after", "quiet"} <= told["machine"].keys()


def test_the_home_at_the_full_rate_takes_fewer_bytes_sealed(told: dict[str, Any]) -> None:
    home = told["home"]
    # A row in a hundred is lost, of 20 readings every ten seconds of a day.
    assert 0.98 * 172_800 < home["readings"] < 172_800
    assert home["sealed_bytes"] < 1 < home["hot_bytes"]
    for work in (home["day"], home["seal"], home["record"]):
        assert work["own_s"] > 0
        assert work["took_s"] > 0


@pytest.mark.outside
def test_homes_on_a_server_leave_it_as_empty_as_it_was(
    postgres: PostgresServer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    url = postgres.empty_database()
    page, run = tmp_path / "fleet.md", tmp_path / "run.json"
    page.write_text(f"{BEGIN}\n{END}\n", encoding="utf-8")
    monkeypatch.setattr(bench_fleet, "FULL", SMALL)
    asked = ["bench", "--fleet", "--database", url, "--in", str(tmp_path)]
    assert main([*asked, "--json"]) == 0
    printed = capsys.readouterr().out
    document = json.loads(printed)
    assert document["conditions"]["store"] == "PostgreSQL server"
    assert {each["log"] > 0 for each in document["rounds"]} == {True}
    assert "vacuum" in {cost["key"] for cost in document["costs"]}
    assert "clay" not in printed  # the password
    require_empty(tmp_path, ServerPlace(url=url))
    # A whole run's document is enough for the page.
    document["conditions"]["quick"] = False
    run.write_text(json.dumps(document), encoding="utf-8")
    assert main(["bench", "--fleet", "--run", str(run), "--write", str(page)]) == 0
    assert "| readings/s | 2,000 | 20,000 | 200,000 | 2,000,000 |" in page.read_text("utf-8")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["fleet.md", "run.json"]


@pytest.mark.outside
def test_a_database_that_holds_anything_is_refused_and_stays(
    postgres: PostgresServer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = postgres.place()
    assert main(["bench", "--fleet", "--quick", "--database", place.url]) == 2
    assert "this database is not empty" in capsys.readouterr().err
    Database.open(tmp_path, place).close()  # as it was


def test_a_person_reads_what_is_measured_and_what_missed() -> None:
    report = _report([(10, 1.0), (100, 9.0), (1000, 200.0)] * 2)
    lines = list(fleet_lines(report))
    assert "a quick run shows that everything works; its figures mean nothing" in lines
    assert "every exponent at most 1.05: MISSED: ingest" in lines
    assert any(line.startswith("from 100 to 1,000 homes it grows faster: ingest") for line in lines)
    holds = list(fleet_lines(_report([(10, 1.0), (100, 9.0), (1000, 80.0)] * 2)))
    assert "every exponent at most 1.05: holds" in holds
    assert not any("grows faster" in line for line in holds)
    [ingest] = lines_of(report.rounds)  # the others were not measured
    assert ingest.of_a_home == pytest.approx(0.2)  # 200 s of 1000 homes


def _report(took_s: list[tuple[int, float]]) -> FleetReport:
    rounds = [Costs(homes=homes, of={"ingest": each}) for homes, each in took_s]
    work = fleet_home.Work(took_s=0.02, own_s=0.01)
    return FleetReport(
        conditions={"quick": took_s[2][1] == 200.0},
        quietness=Quietness(load_before=0.1, load_after=1.0, others_ratio=None, stolen_ratio=None),
        rounds=rounds,
        home=fleet_home.FullHome(
            days=1,
            readings=9,
            hot_bytes=30.0,
            sealed_bytes=0.3,
            day=work,
            seal=work,
            record=work,
            back=work,
        ),
    )


def test_a_lost_reading_ends_the_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(Street, "readings", lambda *_: 1)
    street = Street(SMALL.hours)
    with (
        Ground(tmp_path).fresh() as database,
        pytest.raises(WrongAnswerError, match="readings stored of 1"),
    ):
        fleet_costs.measured(database, street, 1, pages=bench_fleet.pages_of, visits=1)
    assert list(tmp_path.iterdir()) == []


def test_a_day_that_is_not_computed_ends_the_run(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(fleet_home, "catch_up", lambda *_, **__: 0)
    with (
        Ground(tmp_path).fresh() as database,
        pytest.raises(WrongAnswerError, match="0 days were computed of 1"),
    ):
        fleet_home.full_home(database, 1)


def test_an_application_is_asked_as_asgi_says_and_a_refused_page_is_no_fast_one() -> None:
    asked: list[tuple[Any, Any]] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        # ASGI 3.0, HTTP & WebSocket message format: "Request", "Response Start".
        asked.append((scope["path"], await receive()))
        status = 404 if scope["path"] == "/nowhere" else 200
        await send({"type": "http.response.start", "status": status, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    assert len(visited_ms(app, ["/one", "/two"])) == 1
    empty = {"type": "http.request", "body": b"", "more_body": False}
    assert asked == [("/one", empty), ("/two", empty)]
    with pytest.raises(WrongAnswerError, match="/nowhere was answered with 404"):
        visited_ms(app, ["/one", "/nowhere"])


def test_an_earlier_run_alone_has_nothing_to_say(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = tmp_path / "run.json"
    run.write_text(json.dumps(round_run()), encoding="utf-8")
    assert main(["bench", "--fleet", "--run", str(run)]) == 2
    assert "--write beside it" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["no json", "[]", "{}"])
def test_what_is_no_run_is_refused(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run, page = tmp_path / "run.json", tmp_path / "fleet.md"
    run.write_text(text, encoding="utf-8")
    page.write_text("# Mine\n", encoding="utf-8")
    assert main(["bench", "--fleet", "--run", str(run), "--write", str(page)]) == 2
    assert "this is no document of a run over fleets" in capsys.readouterr().err
    assert page.read_text(encoding="utf-8") == "# Mine\n"


def test_a_page_is_written_of_a_run(tmp_path: Path) -> None:
    run, page = tmp_path / "run.json", tmp_path / "fleet.md"
    run.write_text(json.dumps(round_run()), encoding="utf-8")
    page.write_text(f"{BEGIN}\n{END}\n", encoding="utf-8")
    assert main(["bench", "--fleet", "--run", str(run), "--write", str(page)]) == 0
    assert "### What breaks first" in page.read_text(encoding="utf-8")


def test_a_run_writes_the_page_when_asked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "fleet.md"
    page.write_text(f"{BEGIN}\n{END}\n", encoding="utf-8")
    report = _report([(10, 1.0), (100, 9.0), (1000, 80.0)] * 2)
    monkeypatch.setattr(bench_fleet, "run_fleet", lambda *_: report)
    monkeypatch.setattr(bench_fleet, "fleet_document", lambda _: round_run())
    asked = ["bench", "--fleet", "--database", "postgresql://localhost/trial"]
    assert main([*asked, "--write", str(page)]) == 0
    assert "every exponent at most 1.05: holds" in capsys.readouterr().out
    assert "### What breaks first" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("asked", [(), ("--quick", "--database", "postgresql://localhost/trial")])
def test_a_page_that_could_not_be_written_is_refused_before_anything_is_measured(
    asked: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "fleet.md"
    page.write_text(f"{BEGIN}\n{END}\n", encoding="utf-8")
    assert main(["bench", "--fleet", "--write", str(page), *asked]) == 2
    assert "calculated from a whole run on a server" in capsys.readouterr().err
