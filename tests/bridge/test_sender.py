"""Delivery from a spool, to a server whose bytes are written by hand (MQTT 5.0)."""

import json
import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from joulebook_bridge import sender as sender_module
from joulebook_bridge.configuration import Service
from joulebook_bridge.modbus.backoff import Backoff
from joulebook_bridge.sender import Sender
from joulebook_bridge.session import Credentials, Server
from joulebook_bridge.spool.spool import Spool
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.scripted_mqtt import ScriptedServer, connack
from tests.helpers.service import unused_port
from tests.helpers.spools import PANELS, batch, files, spool_in
from tests.helpers.stepped_clock import NOON_MS, SteppedClock


@pytest.fixture
def time() -> SteppedClock:
    return SteppedClock()


@pytest.fixture
def spool(tmp_path: Path, time: SteppedClock) -> Iterator[Spool]:
    spool = spool_in(tmp_path)
    spool.set_clock(time.now(), 0)
    yield spool
    spool.close()


@contextmanager
def sending(spool: Spool, port: int) -> Iterator[Sender]:
    service = Service(Server("127.0.0.1", port, tls=False), "studio", Credentials("shed", "sesame"))
    sender = Sender(service, spool)
    stop = threading.Event()
    thread = threading.Thread(target=sender.run, args=(stop,))
    thread.start()
    try:
        yield sender
    finally:
        stop.set()
        thread.join()


def test_what_is_spooled_is_delivered_and_removed(
    spool: Spool, time: SteppedClock, tmp_path: Path
) -> None:
    with ScriptedServer() as server, sending(spool, server.port) as sender:
        wait_until(lambda: sender.is_connected)
        spool.append(batch(time.now(), 5))
        server.wait_until(lambda it: len(it.messages) == 1)
        wait_until(lambda: spool.waiting_readings() == 0)
        assert sender.is_idle
    [(topic, payload)] = server.messages
    assert topic == "joulebook/v1/studio/battery"
    assert json.loads(payload) == [
        {"bt": NOON_MS // 1000, "n": "voltage", "u": "V", "v": 5.0},
        {"n": "current", "u": "A", "v": -0.5},
    ]
    spool.tick(time.pass_ms(60_000))
    assert files(tmp_path) == []


def test_what_waited_travels_in_few_messages(spool: Spool, time: SteppedClock) -> None:
    for number in range(1000):
        spool.append(batch(time.now(), number, PANELS))
        time.pass_ms(1000)
    spool.give_back([])
    with ScriptedServer() as server, sending(spool, server.port):
        wait_until(lambda: spool.waiting_readings() == 0)
    [(topic, payload)] = server.messages
    assert topic.endswith("/pv")
    records = json.loads(payload)
    assert [record["v"] for record in records] == list(range(1000))
    assert (records[0]["bt"], records[1]["t"], records[999]["t"]) == (NOON_MS // 1000, 1, 999)


def test_a_cut_connection_loses_nothing(
    spool: Spool, time: SteppedClock, caplog: pytest.LogCaptureFixture
) -> None:
    with ScriptedServer(puback=None) as server, sending(spool, server.port):
        spool.append(batch(time.now(), 1))
        server.wait_until(lambda it: len(it.messages) == 1)
        server.acknowledge()
        server.drop()
        wait_until(lambda: spool.waiting_readings() == 0)
    assert [payload for _, payload in server.messages[1:]] == [server.messages[0][1]]
    assert "readings wait on disk, since the service closed the connection" in caplog.text
    assert "the service takes readings again" in caplog.text


def test_a_service_that_is_away_is_said_once(
    spool: Spool, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sender_module, "_LONGEST_AWAY_S", 0.01)
    tries: list[float] = []
    failed = Backoff.failed

    def counted(backoff: Backoff) -> float:
        tries.append(failed(backoff))
        return 0.01

    monkeypatch.setattr(Backoff, "failed", counted)
    with sending(spool, unused_port()):
        wait_until(lambda: len(tries) >= 3)
    assert [record.levelno for record in caplog.records] == [logging.WARNING]
    assert "nothing listens at this port" in caplog.text
    assert "Next: start the service" in caplog.text


def test_silence_is_said_again_after_an_hour(
    spool: Spool, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    hours = iter(range(100))
    monkeypatch.setattr(Backoff, "failed", lambda _: 0.01)
    service = Service(
        Server("127.0.0.1", unused_port(), tls=False), "studio", Credentials("shed", "sesame")
    )
    sender = Sender(service, spool, monotonic_s=lambda: next(hours) * 3700.0)
    stop = threading.Event()
    thread = threading.Thread(target=sender.run, args=(stop,))
    thread.start()
    wait_until(lambda: len(caplog.records) >= 3)
    stop.set()
    thread.join()
    assert caplog.text.count("nothing listens") >= 3


@pytest.mark.parametrize(
    ("server", "said", "level"),
    [
        (ScriptedServer(connack=connack(0x86)), "does not accept the name 'shed'", logging.ERROR),
        (ScriptedServer(puback=0x87), "may not write to this site", logging.ERROR),
        (ScriptedServer(puback=0x97), "refused the message: Quota exceeded", logging.WARNING),
    ],
    ids=["token", "site", "quota"],
)
def test_a_refusal_is_said_and_the_readings_stay(
    spool: Spool,
    time: SteppedClock,
    caplog: pytest.LogCaptureFixture,
    server: ScriptedServer,
    said: str,
    level: int,
) -> None:
    spool.append(batch(time.now(), 1))
    with server, sending(spool, server.port):
        wait_until(lambda: said in caplog.text)
    assert spool.waiting_readings() == 2
    assert [record.levelno for record in caplog.records if said in record.getMessage()] == [level]
    assert "sesame" not in caplog.text


def test_a_service_that_stops_answering_is_left(
    spool: Spool,
    time: SteppedClock,
    caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sender_module, "_TIMEOUT_S", 0.2)
    spool.append(batch(time.now(), 1))
    with ScriptedServer(puback=None) as server, sending(spool, server.port):
        server.wait_until(lambda it: it.connections >= 2)
    assert "did not answer the message within 0.2 s" in caplog.text
    assert spool.waiting_readings() == 2


def test_no_more_than_a_few_messages_are_on_their_way(
    spool: Spool, time: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sender_module, "_LOOK_S", 0.01)
    for number in range(6000):  # eight messages, where they waited
        spool.append(batch(time.now(), number))
        time.pass_ms(1000)
    with ScriptedServer(puback=None) as server, sending(spool, server.port):
        server.wait_until(lambda it: len(it.messages) == 16)
        server.drop()
        # After a break, four messages of what waited; and what is measured now is not held up.
        server.wait_until(lambda it: len(it.messages) == 20)
        spool.append(batch(time.now(), 7777))
        server.wait_until(lambda it: len(it.messages) == 21)
    assert b"7777.0" in server.messages[20][1]
