"""Workers of a real service that die or hang: started again, said, and nothing lost."""

import asyncio
import logging
import socket
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx2
import pytest
from prometheus_client.parser import text_string_to_metric_families as parsed

from joulebook.cli import watchdog, watching
from joulebook.cli.service import Service
from joulebook.cli.systemd import ServiceManager
from joulebook.errors import UnavailableError
from joulebook.settings import Settings
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from joulebook.storage.room import Room
from joulebook.storage.tokens import add_token
from joulebook.summaries.record_update import update_record
from tests.helpers.failing_clocks import FailingClock
from tests.helpers.live_services import while_it_runs
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.packs import NOW_MS, VOLTAGE, message


class House:
    """A data directory with a site, and a clock that fails when it is told to."""

    def __init__(self, folder: Path) -> None:
        self.database = Database.open(folder / "data")
        self.site: Site = add_site(self.database, "studio", "Europe/Lisbon")
        self.token = ("shed", add_token(self.database, self.site, "shed"))
        self.clock = FailingClock(NOW_MS)

    def service(self, **given: Any) -> Service:
        settings = Settings(port=0, mqtt_port=0, keep_years=10)
        return Service(self.database, settings, clock_ms=self.clock, **given)

    def deliver(self, service: Service, power_w: float) -> int:
        return httpx2.post(
            f"http://127.0.0.1:{service.port}/api/v1/sites/studio/readings?device=battery",
            content=f'[{{"n":"power","u":"W","v":{power_w},"t":-{power_w}}}]',
            headers={"content-type": "application/senml+json"},
            auth=self.token,
            timeout=WAIT_S,
        ).status_code

    def stored(self) -> list[object]:
        with closing(self.database.connect()) as connection:
            return [one.value for one in latest_readings(connection, self.site.id)]


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    monkeypatch.setattr(watchdog, "LOOK_S", 0.02)
    monkeypatch.setattr(watchdog, "FIRST_PAUSE_S", 0.02)
    house = House(tmp_path)
    yield house
    house.database.close()


def numbers(service: Service, name: str) -> dict[str, float]:
    text = httpx2.get(f"http://127.0.0.1:{service.port}/metrics", timeout=WAIT_S).text
    return {
        sample.labels["worker"]: sample.value
        for family in parsed(text)
        for sample in family.samples
        if sample.name == name
    }


def test_every_worker_that_dies_is_started_again_and_that_is_said(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    # With a record to look at, the analyst asks for the time in its first round.
    update_record(house.database, house.site, clock_ms=house.clock, max_gap_s=300.0)
    workers = ("summariser", "sealer", "keeper", "analyst", "reminders", "home lines")
    for name in (*workers, "inbox"):
        house.clock.kill_next(name)
    service = house.service()
    dead = dict.fromkeys((*workers, "writer"), 1.0)

    def act() -> None:
        # The writer dies after its commit: the sender hears of it from the one that follows.
        assert house.deliver(service, 400.0) == 200
        restarts = "joulebook_worker_restarts_total"
        wait_until(lambda: {k: v for k, v in numbers(service, restarts).items() if v} == dead)
        wait_until(lambda: set(numbers(service, "joulebook_worker_up").values()) == {1.0})
        ready = httpx2.get(f"http://127.0.0.1:{service.port}/readyz", timeout=WAIT_S)
        assert ready.json() == {"ready": True, "problems": []}
        assert house.deliver(service, 300.0) == 200

    with caplog.at_level(logging.WARNING):
        while_it_runs(service, act)
    assert house.stored() == [300.0]  # the newest of both
    for name in dead:
        assert f"the {name} has stopped: " in caplog.text
        assert f"starting the {name} again, time 1" in caplog.text


def test_a_writer_that_hangs_is_followed_by_another(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "_WRITER_S", 0.2)
    house.clock.hold_next("inbox")
    service = house.service()

    def act() -> None:
        assert house.deliver(service, 400.0) == 200
        house.clock.let_go()
        assert numbers(service, "joulebook_worker_restarts_total")["writer"] == 1

    while_it_runs(service, act)
    assert house.stored() == [400.0]


def test_a_listener_that_ended_takes_connections_again(house: House) -> None:
    service = house.service()

    def act() -> None:
        port = service.mqtt_port
        # What ends an accepting task: a bug in it. Nothing outside reaches further in.
        assert service._intake.listener is not None
        for task in service._intake.listener._accepting:
            task.get_loop().call_soon_threadsafe(task.cancel)
        restarts = "joulebook_worker_restarts_total"
        wait_until(lambda: numbers(service, restarts)["listener"] >= 1)
        wait_until(lambda: numbers(service, "joulebook_worker_up")["listener"] == 1)
        assert service.mqtt_port == port
        socket.create_connection(("127.0.0.1", port), timeout=WAIT_S).close()

    while_it_runs(service, act)


def test_a_writer_that_cannot_be_helped_ends_the_service_with_a_reason(house: House) -> None:
    service = house.service()

    def act() -> None:
        house.clock.kill_each("inbox")
        service._intake.inbox.put([message([VOLTAGE])], lambda _verdicts: None)
        wait_until(lambda: service._given_up is not None)

    with pytest.raises(UnavailableError, match="the writer has stopped") as caught:
        while_it_runs(service, act, ends=False)
    assert caught.value.exit_status == 3  # systemd starts it anew: Restart=on-failure
    assert "1 message not stored" in caught.value.expected


def test_a_stuck_event_loop_ends_the_process(
    house: House, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(watching, "_LOOP_S", 0.1)
    go_on, left_with = threading.Event(), []

    def leave(status: int) -> None:
        left_with.append(status)
        go_on.set()

    service = house.service(leave=leave, stop_s=0.2)
    loops: list[asyncio.AbstractEventLoop] = []

    def act() -> None:
        wait_until(lambda: bool(loops))
        loops[0].call_soon_threadsafe(go_on.wait, WAIT_S)
        assert go_on.wait(WAIT_S)

    class Noting(ServiceManager):
        def ready(self, status: str) -> None:
            loops.append(asyncio.get_running_loop())
            super().ready(status)

    service._manager = Noting({})
    with pytest.raises(UnavailableError, match="the event loop has been stuck"):
        while_it_runs(service, act, ends=False)
    assert left_with == [3]
    assert "not done after 0.2 s, leaving at once: every message that came in is" in caplog.text


def test_a_service_manager_hears_that_it_is_ready_well_and_stopping(
    house: House, tmp_path: Path
) -> None:
    heard: list[bytes] = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(WAIT_S)
        service = house.service(manager=ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "notify")}))
        while_it_runs(service, lambda: heard.extend(manager.recv(256) for _ in range(4)))
        while b"STOPPING" not in heard[-1]:
            heard.append(manager.recv(256))
    assert b"READY=1\nSTATUS=taking readings in" in heard
    assert heard.count(b"WATCHDOG=1") >= 2
    assert heard[-1] == b"STOPPING=1\nSTATUS=storing what has come in"


def test_a_disk_that_went_away_is_not_ready(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(_data_dir: Path) -> Room:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("joulebook.cli.running.room_of", gone)
    service = house.service()

    def act() -> None:
        answer = httpx2.get(f"http://127.0.0.1:{service.port}/readyz", timeout=WAIT_S)
        assert answer.status_code == 503
        assert "check that its disk is there" in answer.json()["problems"][0]

    while_it_runs(service, act)
