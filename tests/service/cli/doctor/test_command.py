import json
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.database import FILE_NAME, Database
from joulebook.storage.lock import running_service
from tests.helpers.service import running_service as served
from tests.helpers.service import unused_port


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("JOULEBOOK_PORT", str(unused_port()))
    monkeypatch.setenv("JOULEBOOK_MQTT_PORT", str(unused_port()))
    Database.open(tmp_path / "house").close()
    return tmp_path / "house"


def test_a_house_without_trouble_has_status_0(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["doctor", "--data", str(house)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("well     versions: joulebook ")
    assert any(line.startswith("LOOK     backup: no backup is known") for line in lines)
    assert "         next: joulebook backup FILE --data DIR" in lines
    assert lines[-1].startswith("0 in trouble, ")


def test_data_in_danger_has_status_4_and_comes_as_json(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (house / FILE_NAME).write_bytes(b"not ours" * 100)
    assert main(["doctor", "--data", str(house), "--json"]) == 4
    told = json.loads(capsys.readouterr().out)
    assert told["status"] == 4
    by_name = {one["about"]: one for one in told["findings"]}
    assert by_name["database"]["verdict"] == "trouble"
    assert set(by_name["database"]) == {"about", "verdict", "sentence", "next_step", "status"}
    assert {one["verdict"] for one in told["findings"]} <= {"well", "look", "trouble", "unknown"}


def test_a_directory_that_is_not_there_has_status_3(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["doctor", "--data", str(house / "none")]) == 3
    assert "TROUBLE  data directory: " in capsys.readouterr().out


def test_a_backup_is_remembered(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = house.parent / "monday.sqlite3"
    assert main(["backup", str(copy), "--data", str(house)]) == 0
    assert main(["doctor", "--data", str(house)]) == 0
    assert f"well     backup: the last one is 0 minutes old: {copy}" in capsys.readouterr().out


def test_a_backup_whose_date_cannot_be_noted_is_a_backup(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (house / "joulebook.backup.json.unfinished").mkdir()  # in the way of the note
    assert main(["backup", str(house.parent / "copy"), "--data", str(house)]) == 0
    said = capsys.readouterr()
    assert said.out.endswith("nothing is damaged\n")
    assert said.err.startswith(f"its date could not be noted in {house}: ")


def test_a_running_service_is_found_asked_and_well(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert running_service(house) is None
    with served(house) as service:
        assert running_service(house) == service.process.pid
        port = ["--port", str(service.port)]
        assert main(["doctor", "--data", str(house), *port]) == 0
        assert main(["health", "--data", str(house), *port]) == 0
    said = capsys.readouterr().out
    assert f"well     service: process {service.process.pid} runs and is ready" in said
    assert said.endswith("ready\n")
    assert running_service(house) is None


def test_health_of_no_service_has_status_3(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["health", "--data", str(house)]) == 3
    assert capsys.readouterr().err.startswith("joulebook: the service does not answer: ")


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"ready": False}, "expected: ready\n"),
        ({"ready": False, "problems": ["the disk is full"]}, "ready, and not: the disk is full\n"),
    ],
)
def test_health_of_a_service_that_is_not_ready(
    house: Path,
    told: dict[str, object],
    expected: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("joulebook.cli.doctor.command.asked_ready", lambda _settings: (503, told))
    assert main(["health", "--data", str(house)]) == 3
    said = capsys.readouterr().err
    assert said.startswith("joulebook: the service is not ready\n")
    assert expected in said
