import json
import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from joulebook_bridge.clock import system_clock
from joulebook_bridge.configuration import Configuration, load_configuration
from joulebook_bridge.modbus.polling import Poller
from joulebook_bridge.running import Bridge
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.modbus_servers import plant_of, tcp_server
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.register_maps import CURRENT, HEAD, VOLTAGE
from tests.helpers.scripted_mqtt import ScriptedServer
from tests.helpers.service import unused_port
from tests.helpers.spools import files
from tests.helpers.stepped_clock import SteppedClock

WORDS = {10: 531, 11: 214}
QUICK = "[groups]\nquick.every_s = 0.1\n"


def configuration(
    folder: Path, line_port: int, mqtt_port: int, sign: str = "discharging"
) -> Configuration:
    current = CURRENT.replace("discharging", sign)
    readings = "".join(part + 'group = "quick"\n' for part in (VOLTAGE, current))
    (folder / "map.toml").write_text(HEAD + QUICK + readings)
    (folder / "bridge.toml").write_text(
        f'heartbeat_s = 1\n[[line]]\nurl = "tcp://127.0.0.1:{line_port}"\n'
        '[[line.unit]]\nnumber = 1\nmap = "map.toml"\n'
    )
    environ = bridge_environ(mqtt_port)
    return load_configuration(folder / "bridge.toml", environ)


@contextmanager
def running(configuration: Configuration) -> Iterator[threading.Event]:
    stop = threading.Event()
    clock = replace(system_clock(), is_set=lambda: True)
    thread = threading.Thread(target=Bridge(configuration, clock).run, args=(stop,))
    thread.start()
    try:
        yield stop
    finally:
        stop.set()
        thread.join()


def payloads(server: ScriptedServer, device: str) -> list[list[dict[str, Any]]]:
    return [
        json.loads(payload)
        for topic, payload in list(server.messages)
        if topic == f"joulebook/v1/studio/{device}"
    ]


def test_registers_become_delivered_readings(tmp_path: Path) -> None:
    with (
        tcp_server(plant_of({1: WORDS})) as (port, _),
        ScriptedServer() as server,
        running(configuration(tmp_path, port, server.port)),
    ):
        server.wait_until(lambda it: len(it.messages) >= 5)
    first = payloads(server, "battery")[0]
    assert [(record["n"], record["v"]) for record in first] == [
        ("voltage", 53.1),
        ("current", -21.4),
    ]
    assert files(tmp_path / "spool") == []


def test_the_bridge_tells_of_itself(tmp_path: Path) -> None:
    with (
        ScriptedServer() as server,
        running(configuration(tmp_path, unused_port(), server.port)),
    ):
        server.wait_until(lambda it: len(it.messages) >= 2)
    told = {record["n"]: record["v"] for record in payloads(server, "bridge")[-1]}
    assert set(told) == {"uptime", "waiting", "lost", "aside", "silent_units"}
    assert told["silent_units"] == 1
    assert told["uptime"] >= 1


def test_a_step_of_the_clock_is_told(tmp_path: Path) -> None:
    time = SteppedClock()
    bridge = Bridge(configuration(tmp_path, unused_port(), unused_port()), time.clock())
    bridge.tick()
    time.pass_ms(2000)
    time.set_by(-5000)
    bridge.tick()
    time.pass_ms(2000)
    bridge.tick()
    time.pass_ms(2000)
    bridge.tick()
    bridge._spool.set_clock(time.now(), 0)
    told = []
    while (parcel := bridge._spool.next(live_only=False)) is not None:
        steps = [
            place for place, (name, _) in enumerate(parcel.shape.columns) if name == "clock_step"
        ]
        told += [row[1][steps[0]] for row in parcel.rows if steps]
    assert told == [-5.0]
    bridge._spool.close()


def test_an_undecided_sign_is_said_at_the_start(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with (
        ScriptedServer() as server,
        running(configuration(tmp_path, unused_port(), server.port, "undecided")),
    ):
        server.wait_until(lambda it: len(it.messages) >= 1)
    assert "battery/current of unit 1 on tcp://127.0.0.1" in caplog.text
    assert "positive_means is undecided" in caplog.text


def test_what_is_not_delivered_at_the_end_stays_on_disk(tmp_path: Path) -> None:
    with (
        tcp_server(plant_of({1: WORDS})) as (port, asked),
        running(configuration(tmp_path, port, unused_port())),
    ):
        wait_until(lambda: len(asked.functions) >= 3)
    [name] = files(tmp_path / "spool")
    assert name.endswith(".ready")


def test_a_service_that_does_not_answer_does_not_hold_up_the_end_for_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook_bridge.running._FAREWELL_S", 0.1)
    with (
        ScriptedServer(puback=None) as server,
        running(configuration(tmp_path, unused_port(), server.port)),
    ):
        server.wait_until(lambda it: len(it.messages) >= 1)
    assert len(files(tmp_path / "spool")) == 1


def test_a_thread_that_ends_ends_the_bridge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    monkeypatch.setattr(Poller, "run", lambda *_: None)
    time = SteppedClock()
    bridge = Bridge(configuration(tmp_path, unused_port(), unused_port()), time.clock())
    with pytest.raises(RuntimeError, match="the thread 'line 1' ended"):
        bridge.run(threading.Event())
