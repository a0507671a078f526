"""``joulebook ingest``: readings in, and nothing else."""

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx2
import pytest

from joulebook.cli import main
from joulebook.cli.ingest import IngestCopy
from joulebook.ingest.mqtt.shared_broker import SharedBroker
from joulebook.settings import Settings
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.lock import only_service
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from joulebook.storage.tokens import add_token
from tests.helpers.live_services import while_it_runs
from tests.helpers.mqtt_broker import running_mosquitto
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.numbered_publisher import NumberedPublisher

NOW_MS = 1_780_000_000_000


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database.open(tmp_path)
    yield database
    database.close()


def ingest_copy(database: Database, *, listens: bool = True, **given: Any) -> IngestCopy:
    settings = Settings(**{"port": 0, "mqtt_port": 0, **given})
    return IngestCopy(database, settings, clock_ms=lambda: NOW_MS, listens=listens)


def stored(database: Database, site: Site) -> list[object]:
    with closing(database.connect()) as connection:
        return [one.value for one in latest_readings(connection, site.id)]


def test_a_bridge_gets_in_and_nothing_is_computed(database: Database) -> None:
    site = add_site(database, "studio", "Europe/Lisbon")
    secret = add_token(database, site, "shed")
    copy = ingest_copy(database)
    threads: set[str] = set()

    def act() -> None:
        publisher = NumberedPublisher(copy.mqtt_port, secret)
        publisher.publish(3)
        publisher.wait_for_all()
        publisher.stop()
        threads.update(thread.name for thread in threading.enumerate())
        page = f"http://127.0.0.1:{copy.port}"
        assert httpx2.get(f"{page}/readyz", timeout=WAIT_S).json() == {
            "ready": True,
            "problems": [],
        }
        assert "joulebook_readings_new_total 3" in httpx2.get(f"{page}/metrics").text
        assert copy.address() == f"watch:   {page}\nbridges: mqtt://127.0.0.1:{copy.mqtt_port}"

    while_it_runs(copy, act)
    assert stored(database, site) == [2.0]
    assert "inbox" in threads
    assert not threads & {"summariser", "sealer", "analyst", "reminders", "keeper"}


@pytest.mark.outside
def test_readings_come_from_a_broker_alone(database: Database, tmp_path: Path) -> None:
    site = add_site(database, "studio", "Europe/Lisbon")
    (tmp_path / "broker").mkdir()
    with running_mosquitto(tmp_path / "broker") as broker:
        url = f"mqtt://127.0.0.1:{broker.port}"
        copy = ingest_copy(database, listens=False, broker=url, broker_share="joulebook")

        def act() -> None:
            wait_until(lambda: copy.health().broker_connected is True)
            broker.publish("joulebook/v1/studio/battery", [b'[{"n":"power","u":"W","v":5}]'])
            wait_until(lambda: stored(database, site) == [5.0])
            assert copy.mqtt_port == 0
            assert copy.address() == f"watch:   http://127.0.0.1:{copy.port}\nbroker:  {url}"
            assert copy.health().connections is None
            assert {one.name for one in copy.health().workers} == {
                *("event loop", "writer", "broker client")
            }

        while_it_runs(copy, act)


def test_without_a_share_it_reads_all_that_the_broker_has(database: Database) -> None:
    copy = ingest_copy(database, broker="mqtt://127.0.0.1:1")
    assert not isinstance(copy._intake.broker, SharedBroker)
    copy._socket.close()


def test_the_command_serves_until_it_is_told_to_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def told(_started: object) -> object:
        os.kill(os.getpid(), signal.SIGTERM)
        return None

    before = IngestCopy.run

    async def run(self: IngestCopy, started: Any) -> None:
        await before(self, lambda: (started(), told(started)))

    monkeypatch.setattr(IngestCopy, "run", run)
    assert main(["ingest", f"--data={tmp_path}", "--port=0", "--mqtt-port=0"]) == 0
    assert "bridges: mqtt://127.0.0.1:" in capsys.readouterr().out


def test_beside_a_running_service_it_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with only_service(tmp_path):
        assert main(["ingest", f"--data={tmp_path}", "--port=0", "--mqtt-port=0"]) == 3
    assert "another service runs in this data directory" in capsys.readouterr().err


def test_from_a_broker_alone_needs_a_broker(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ingest", f"--data={tmp_path}", "--broker-only"]) == 2
    assert "there is no broker to read from" in capsys.readouterr().err


def test_copies_on_a_server_have_to_share(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JOULEBOOK_BROKER", "mqtt://kiln.example")
    assert main(["ingest", f"--data={tmp_path}", "--database=postgresql://kiln.example/x"]) == 2
    assert "copies have to share what the broker has" in capsys.readouterr().err
