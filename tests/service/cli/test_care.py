import sqlite3
import zlib
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.database import Database
from joulebook.storage.days import day_results, save_day
from joulebook.summaries.results import json_of
from tests.helpers.service import running_service, serve

HISTORY = "time,battery.power [W]\n" + "".join(
    f"2026-07-14T10:{minute:02d}:00Z,{minute}.5\n" for minute in range(60)
)


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A data directory with an hour of readings and the result of their day."""
    house, file = tmp_path / "house", tmp_path / "history.csv"
    file.write_text(HISTORY, encoding="utf-8")
    data = ["--data", str(house)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    assert main(["import", str(file), "--site", "studio", *data]) == 0
    assert main(["recompute", "--site", "studio", *data]) == 0
    return house


def test_backup_and_restore_bring_everything_back_and_say_what_was_checked(
    house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    file, other = str(tmp_path / "copy.sqlite3"), str(tmp_path / "other")
    assert main(["backup", file, "--data", str(house)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"backup: {file}, 0.")
    assert ", sites 1, tokens 0, devices 1, series 1, rows 60, readings 60, " in said[1]
    assert said[2] == "nothing is damaged"
    assert main(["restore", file, "--data", other]) == 0
    assert capsys.readouterr().out.splitlines()[0] == f"restored: {other}, from {file}"
    assert main(["show", "days", "--site", "studio", "--data", str(house)]) == 0
    shown = capsys.readouterr().out
    assert "2026-07-14  charged 0.03 kWh" in shown
    assert main(["show", "days", "--site", "studio", "--data", other]) == 0
    assert capsys.readouterr().out == shown


def test_nothing_is_overwritten(
    house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(tmp_path / "copy.sqlite3")
    assert main(["backup", file, "--data", str(house)]) == 0
    capsys.readouterr()
    for command in (["backup", file], ["restore", file]):
        assert main([*command, "--data", str(house)]) == 4
        assert len(capsys.readouterr().err.splitlines()) == 4


def test_a_backup_beside_a_running_service_holds_what_was_there(
    house: Path, tmp_path: Path
) -> None:
    with running_service(house):
        assert main(["backup", str(tmp_path / "copy.sqlite3"), "--data", str(house)]) == 0
        assert main(["verify", "--data", str(house)]) == 0
        assert main(["restore", str(tmp_path / "copy.sqlite3"), "--data", str(house)]) == 3
    assert main(["restore", str(tmp_path / "copy.sqlite3"), "--data", str(tmp_path / "o")]) == 0


def test_a_result_that_cannot_be_read_is_status_4_and_named(
    house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database = Database.open(house)
    with closing(database.connect()) as connection:
        [(day, method, result)] = day_results(connection, 1, None, None)
        torn = json_of(result).replace(b"coverage", b"c\xf6verage")
        save_day(connection, 1, day, method, zlib.compress(torn), None, 0)
        save_day(connection, 1, date(2026, 7, 1), "day-0", zlib.compress(b"{}"), None, 0)
        save_day(connection, 1, date(2026, 7, 2), "day-0", zlib.compress(b"{"), None, 0)
    database.close()
    capsys.readouterr()
    assert main(["verify", "--data", str(house)]) == 4
    seen = capsys.readouterr()
    damaged = [line for line in seen.out.splitlines() if line.startswith("damaged: ")]
    assert [line.split(",")[1] for line in damaged] == [" 2026-07-02", " 2026-07-14"]
    assert "(and 1 more)" in seen.err
    assert 'see docs/operating.md, "When a file is damaged"' in seen.err
    file = str(tmp_path / "copy.sqlite3")
    assert main(["backup", file, "--data", str(house)]) == 4
    assert not Path(file).exists()
    # Asked to, it keeps what there is and still says that something is wrong.
    assert main(["backup", file, "--keep-damaged", "--data", str(house)]) == 4
    with closing(sqlite3.connect(file)) as copy:
        assert copy.execute("SELECT count(*) FROM readings").fetchone() == (60,)
    other = ["--data", str(tmp_path / "other")]
    assert main(["restore", file, *other]) == 4
    assert main(["restore", file, "--keep-damaged", *other]) == 4
    assert main(["recompute", "--site", "studio", *other]) == 0
    assert main(["verify", *other]) == 0


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_second_service_is_refused_in_four_lines_that_name_the_first(
    house: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    with running_service(house) as first:
        capsys.readouterr()
        ports = ["--port", "0", "--mqtt-port", "0"]
        assert main([command, "--data", str(house), *ports]) == 3
        told = capsys.readouterr().err
        assert len(told.splitlines()) == 4
        assert (
            f"another service runs in this data directory, as process {first.process.pid}" in told
        )
        # What only adds or reads may go on beside it.
        assert main(["token", "add", "shed", "--site", "studio", "--data", str(house)]) == 0
        assert main(["show", "days", "--site", "studio", "--data", str(house)]) == 0


def test_after_kill_9_the_next_service_starts(house: Path) -> None:
    serve(house).kill()
    with running_service(house) as second:
        assert second.process.poll() is None


def test_verify_makes_nothing(tmp_path: Path) -> None:
    assert main(["verify", "--data", str(tmp_path / "none")]) == 2
    assert not (tmp_path / "none").exists()
