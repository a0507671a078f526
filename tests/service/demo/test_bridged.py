"""The annex's programs, as far as the demonstration as a whole does not show them."""

import subprocess
import sys
from pathlib import Path

import pytest

from joulebook.demo import bridged
from joulebook.demo.bridged import BridgedAnnex, bridge_is_installed
from tests.helpers.mqtt_inbox import wait_until


def annex(folder: Path) -> BridgedAnnex:
    return BridgedAnnex(folder, "127.0.0.1", 1, "shed", "secret")


def test_the_bridge_is_found_where_it_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    assert bridge_is_installed()
    monkeypatch.setattr(bridged, "_PROGRAM", "no_such_bridge")
    assert not bridge_is_installed()


def test_it_starts_plant_and_bridge_and_ends_both(tmp_path: Path) -> None:
    made = annex(tmp_path / "annex")
    made.start()
    wait_until(lambda: len(made._programs) == 2)
    made.stop()
    assert all(program.poll() is not None for program in made._programs)
    assert "clock_wait_s = 0" in (tmp_path / "annex" / "annex.toml").read_text()


def test_a_plant_that_ends_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(bridged, "_PROGRAM", "no_such_bridge")
    made = annex(tmp_path)
    made.start()
    wait_until(lambda: "the annex is not shown" in caplog.text)
    made.stop()
    assert len(made._programs) == 1


def test_stopped_at_once_it_starts_nothing_more(tmp_path: Path) -> None:
    made = annex(tmp_path)
    made._stopped = True
    made.start()
    made.stop()
    assert made._programs == []


def test_a_program_that_does_not_end_is_made_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bridged, "_GRACE_S", 0.2)
    deaf = (
        "import signal, time; signal.signal(15, signal.SIG_IGN); print(1, flush=True); "
        "time.sleep(600)"
    )
    program = subprocess.Popen([sys.executable, "-c", deaf], stdout=subprocess.PIPE, text=True)
    assert program.stdout is not None
    program.stdout.readline()
    bridged._end(program)
    assert program.returncode == -9
