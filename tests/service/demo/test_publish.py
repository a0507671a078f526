import json
import logging
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from joulebook.core.quantities import QUANTITIES
from joulebook.core.spans import Span
from joulebook.demo.history import History
from joulebook.demo.publish import LivePublisher, senml
from joulebook.demo.studio import DAY_MS, TIMEZONE
from joulebook.ingest.inbox import Inbox
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token, check_token
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.mqtt_server import running_listener
from tests.helpers.scripted_mqtt import ScriptedServer, connack, disconnect
from tests.helpers.studio_history import INSTALLED

BEGUN_MS = History(INSTALLED).start_ms + DAY_MS // 2


class Clock:
    """Five seconds later each time that somebody asks."""

    def __init__(self, begin_ms: int = BEGUN_MS, step_ms: int = 5_000) -> None:
        self.now_ms = begin_ms
        self.step_ms = step_ms

    def __call__(self) -> int:
        self.now_ms += self.step_ms
        return self.now_ms


@contextmanager
def publishing(port: int, secret: str = "sesame", **changed: Clock) -> Iterator[LivePublisher]:
    publisher = LivePublisher(
        "127.0.0.1",
        port,
        "shed",
        secret,
        history=History(INSTALLED),
        clock_ms=changed.get("clock", Clock()),
        every_s=0.05,
    )
    publisher.start()
    try:
        yield publisher
    finally:
        publisher.stop()


def instants_of(server: ScriptedServer) -> list[float]:
    return [
        json.loads(payload)[0]["bt"] for topic, payload in server.messages if "/battery" in topic
    ]


def test_it_publishes_a_pack_of_every_device_each_round() -> None:
    with ScriptedServer() as server:
        with publishing(server.port):
            server.wait_until(lambda server: len(server.messages) >= 3 * len(QUANTITIES))
        topics = [topic for topic, _ in server.messages]
    round_of = [f"joulebook/v1/studio/{device}" for device in QUANTITIES]
    assert topics[: 2 * len(round_of)] == round_of * 2
    assert len(topics) % len(round_of) == 0
    first, second, *_ = instants_of(server)
    assert first == (BEGUN_MS + 5_000) / 1000
    assert second - first == 5


def test_a_pack_is_senml_with_canonical_units() -> None:
    now = History(INSTALLED).at(BEGUN_MS)
    assert now is not None
    for device, values in now.items():
        first, *others = json.loads(senml(device, values, BEGUN_MS))
        # RFC 9100: 26 allows the secondary units of RFC 8798, such as Wh.
        assert (first.pop("bver"), first.pop("bt")) == (26, BEGUN_MS / 1000)
        assert [first, *others] == [
            {"n": name, "u": of.unit, "v": values[name]} for name, of in QUANTITIES[device].items()
        ]


def test_after_a_break_it_sends_again_what_was_not_acknowledged() -> None:
    with ScriptedServer(puback=None) as server, publishing(server.port) as publisher:
        server.wait_until(lambda server: len(server.messages) >= len(QUANTITIES))
        before = server.messages[: len(QUANTITIES)]
        server.acknowledge()
        server.drop()
        server.wait_until(lambda server: server.connections == 2)
        server.wait_until(lambda server: all(server.messages.count(one) > 1 for one in before))
        publisher.stop()
    assert len(set(instants_of(server))) > 1


def test_it_waits_for_a_service_that_is_not_there_yet() -> None:
    with ScriptedServer(connack=disconnect(0x88)) as server, publishing(server.port):
        server.wait_until(lambda server: server.connections >= 2)
        server.accept_connections()
        server.wait_until(lambda server: len(server.messages) > 0)
    assert instants_of(server)[0] == (BEGUN_MS + 5_000) / 1000  # the very first is not lost


def test_a_refusal_is_told(caplog: pytest.LogCaptureFixture) -> None:
    with (
        caplog.at_level(logging.WARNING),
        ScriptedServer(connack=connack(0x86)) as server,
        publishing(server.port),
    ):
        server.wait_until(lambda server: server.connections >= 2)
    assert "refuses the demonstration's bridge" in caplog.text
    assert "sesame" not in caplog.text


def test_readings_are_lost_loudly_when_the_service_is_away_for_too_long(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.demo.publish._MOST_WAITING", 3)
    with ScriptedServer(connack=disconnect(0x88)) as server, publishing(server.port):
        wait_until(lambda: "are lost" in caplog.text)
    assert f"readings of {list(QUANTITIES)[3]} are lost" in caplog.text


def test_a_clock_that_goes_back_is_waited_for(caplog: pytest.LogCaptureFixture) -> None:
    clock = Clock(step_ms=-DAY_MS)
    clock.now_ms += 3 * DAY_MS
    with ScriptedServer() as server, publishing(server.port, clock=clock):
        wait_until(lambda: "the clock went back" in caplog.text)
    assert len(instants_of(server)) == 1


def test_the_service_stores_what_it_publishes(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", TIMEZONE)
    secret = add_token(database, site, "shed")
    inbox = Inbox(database, clock_ms=lambda: BEGUN_MS + DAY_MS)
    inbox.start()
    try:
        with (
            running_listener(inbox, check=lambda *token: check_token(database, *token)) as listener,
            publishing(listener.port, secret),
        ):
            wait_until(lambda: inbox.counts().messages >= len(QUANTITIES))
    finally:
        inbox.stop()
    history = History(INSTALLED)
    with closing(database.connect()) as connection:
        for device, of in QUANTITIES.items():
            readings = read_device(connection, site.id, device, Span(0, BEGUN_MS + DAY_MS))
            assert list(readings.values) == list(of)
            now = history.at(int(readings.at_ms[0]))
            assert now is not None
            assert {name: values[0] for name, values in readings.values.items()} == now[device]
    assert inbox.counts().quarantined == 0
