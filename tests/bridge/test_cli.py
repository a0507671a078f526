import json
import re
import runpy
import signal
import subprocess
import sys
import threading
from argparse import ArgumentTypeError
from pathlib import Path

import pytest

from joulebook_bridge.cli import main, run
from joulebook_bridge.clock import system_clock
from joulebook_bridge.parser import units
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.scripted_mqtt import ScriptedServer, connack
from tests.helpers.service import unused_port
from tests.helpers.stepped_clock import SteppedClock

NOON_MS = 1_752_494_400_000
READINGS = ("voltage=53.1V", "current=-12.4A", "soc=0.61")


def environ(port: int, **changed: str) -> dict[str, str]:
    return bridge_environ(port) | changed


def command(*arguments: str, environ: dict[str, str]) -> int:
    return main(arguments, environ, SteppedClock(NOON_MS).clock(), threading.Event())


def test_it_sends_one_pack_and_says_that_it_arrived(capsys: pytest.CaptureFixture[str]) -> None:
    with ScriptedServer() as server:
        status = command("send", "battery", *READINGS, environ=environ(server.port))
    assert status == 0
    printed = capsys.readouterr()
    assert re.fullmatch(r"delivered 3 readings to studio/battery in \d+ ms\n", printed.out)
    assert not printed.err
    [(topic, payload)] = server.messages
    assert topic == "joulebook/v1/studio/battery"
    assert json.loads(payload) == [
        {"bt": NOON_MS / 1000, "n": "voltage", "u": "V", "v": 53.1},
        {"n": "current", "u": "A", "v": -12.4},
        {"n": "soc", "u": "/", "v": 0.61},
    ]


def test_options_override_the_environment(capsys: pytest.CaptureFixture[str]) -> None:
    with ScriptedServer() as server:
        options = (
            "--server",
            f"mqtt://127.0.0.1:{server.port}",
            "--site",
            "barn",
            "--timeout",
            "20",
        )
        status = command("send", "battery-2", "power=5W", *options, environ=environ(1))
    assert status == 0
    assert capsys.readouterr().out.startswith("delivered 1 reading to barn/battery-2 in")


def test_a_refusal_prints_four_lines_and_no_token(capsys: pytest.CaptureFixture[str]) -> None:
    with ScriptedServer(connack=connack(0x86)) as server:
        status = command("send", "battery", *READINGS, environ=environ(server.port))
    assert status == 2
    printed = capsys.readouterr()
    assert not printed.out
    lines = printed.err.splitlines()
    assert lines[0].startswith("joulebook-bridge: the service does not accept")
    assert [line.split(":")[0].strip() for line in lines[1:]] == ["where", "expected", "next"]
    assert "sesame" not in printed.err


def test_a_certificate_without_its_key_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    alone = environ(1, JOULEBOOK_BRIDGE_CERTIFICATE="own.pem")
    assert command("send", "battery", *READINGS, environ=alone) == 2
    assert "a certificate and its key belong together" in capsys.readouterr().err


def test_a_service_that_is_away_is_worth_another_try() -> None:
    with ScriptedServer(connack=connack(0x88)) as server:
        assert command("send", "battery", *READINGS, environ=environ(server.port)) == 3


@pytest.mark.parametrize("setting", ["SERVER", "SITE", "NAME", "TOKEN"])
def test_a_missing_setting_says_where_to_give_it(
    setting: str, capsys: pytest.CaptureFixture[str]
) -> None:
    given = environ(1, **{f"JOULEBOOK_BRIDGE_{setting}": ""})
    assert command("send", "battery", *READINGS, environ=given) == 2
    printed = capsys.readouterr().err
    assert f"there is no {setting.lower()}" in printed
    assert f"JOULEBOOK_BRIDGE_{setting}" in printed


@pytest.mark.parametrize("device", ["", "a/b", "#", "+"])
def test_a_device_that_would_change_the_topic_is_not_sent(
    device: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command("send", device, *READINGS, environ=environ(1)) == 2
    assert "cannot name a device" in capsys.readouterr().err


@pytest.mark.parametrize("timeout", ["0", "-1", "nan", "soon"])
def test_a_timeout_is_a_length_of_time(timeout: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        command("send", "battery", "soc=1", f"--timeout={timeout}", environ={})
    assert ended.value.code == 2
    assert "--timeout" in capsys.readouterr().err


def test_help_says_that_it_only_reports(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["joulebook-bridge", "--help"])
    with pytest.raises(SystemExit) as ended:
        run()
    assert ended.value.code == 0
    assert "never writes to equipment" in capsys.readouterr().out


def test_it_runs_as_a_module_on_this_machines_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["joulebook-bridge", "send", "battery", "soc=61%"])
    with ScriptedServer() as server:
        for name, value in environ(server.port).items():
            monkeypatch.setenv(name, value)
        with pytest.raises(SystemExit) as ended:
            runpy.run_module("joulebook_bridge", run_name="__main__")
    assert ended.value.code == 0
    assert json.loads(server.messages[0][1])[0]["bt"] > NOON_MS / 1000


def test_scan_check_and_run_of_a_simulated_plant(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stop = threading.Event()
    clock = system_clock()
    started: list[int] = []
    port, file = unused_port(), tmp_path / "plant.toml"
    plant = threading.Thread(
        target=lambda: started.append(
            main(["simulate", f"--port={port}", f"--write={file}"], {}, clock, stop)
        )
    )
    plant.start()
    wait_until(lambda: file.exists() and (tmp_path / "studio-meter.toml").exists())
    try:
        url = f"tcp://127.0.0.1:{port}"
        found = tmp_path / "found.toml"
        assert command("scan", url, "--units=1-2", f"--write={found}", environ={}) == 0
        assert f"wrote {found}. Next: joulebook-bridge check {found}" in capsys.readouterr().out
        assert command("scan", url, "--units=9", "--timeout=0.1", environ={}) == 3
        assert command("scan", url, "--units=3", environ={}) == 0
        with ScriptedServer() as server:
            assert command("check", str(file), environ=environ(server.port)) == 0
            assert "all links hold" in capsys.readouterr().out
            bridge = threading.Thread(
                target=lambda: started.append(
                    main(["run", str(file)], environ(server.port), clock, stop)
                )
            )
            bridge.start()
            topics = {f"joulebook/v1/studio/{device}" for device in ("battery", "grid", "pv")}
            server.wait_until(lambda it: topics <= {topic for topic, _ in it.messages})
            stop.set()
            bridge.join()
    finally:
        stop.set()
        plant.join()
    assert started == [0, 0]


@pytest.mark.parametrize("text", ["", "x", "5-1", "1-300", "-1"])
def test_units_are_numbers(text: str) -> None:
    with pytest.raises(ArgumentTypeError, match="expected units from 0 to 247"):
        units(text)


def test_units_are_asked_once_each() -> None:
    assert units("1-3,2,126") == (1, 2, 3, 126)


def test_a_configuration_that_is_wrong_says_where(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bridge.toml").write_text("[spool]\nfolders = 1\n")
    assert command("run", str(tmp_path / "bridge.toml"), environ=environ(1)) == 2
    assert "there is no line to read" in capsys.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_signals_end_it_in_good_order(number: signal.Signals, tmp_path: Path) -> None:
    arguments = [sys.executable, "-m", "joulebook_bridge", "simulate", "--port=0"]
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, cwd=tmp_path)
    assert process.stdout is not None
    assert process.stdout.readline().startswith(b"an invented inverter, battery and meter: tcp://")
    process.send_signal(number)
    process.communicate(timeout=120)
    assert process.returncode == 0
