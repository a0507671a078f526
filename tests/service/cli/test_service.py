import asyncio
import os
import signal
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest

from joulebook.cli.service import Service, free_port
from joulebook.errors import UnavailableError, UsageError
from joulebook.settings import Settings
from joulebook.storage.database import Database
from tests.helpers.mqtt_inbox import WAIT_S
from tests.helpers.service import running_service


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database.open(tmp_path)
    yield database
    database.close()


def service(database: Database, **given: Any) -> Service:
    settings = Settings(**{"port": 0, "mqtt_port": 0, **given})
    return Service(database, settings, clock_ms=lambda: 1_780_000_000_000)


def test_it_opens_its_doors_and_closes_them_in_order(database: Database) -> None:
    made = service(database)
    order: list[str] = []

    def started() -> None:
        order.append("started")
        os.kill(os.getpid(), signal.SIGTERM)

    asyncio.run(made.run(started, stopping=lambda: order.append("stopping")))
    assert order == ["started", "stopping"]
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", made.mqtt_port), timeout=1)


def test_it_serves_on_an_ipv6_address_too(database: Database) -> None:
    made = service(database, host="::1")
    told: list[str] = []

    def started() -> None:
        told.append(made.address())
        os.kill(os.getpid(), signal.SIGINT)

    asyncio.run(made.run(started))
    assert told == [f"pages:   http://[::1]:{made.port}\nbridges: mqtt://[::1]:{made.mqtt_port}"]


def test_a_broker_that_is_away_is_a_problem_and_no_reason_to_stop(database: Database) -> None:
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    made = service(database, broker=f"mqtt://127.0.0.1:{port}")
    problems: list[str] = []

    def started() -> None:
        problems.extend(made.health().problems)
        os.kill(os.getpid(), signal.SIGINT)

    asyncio.run(made.run(started))
    [problem] = problems
    assert problem.startswith("the broker is not reached, its readings wait there: check")


def test_readings_are_kept_for_ever_unless_asked_otherwise(database: Database) -> None:
    threads: list[set[str]] = []

    def started() -> None:
        threads.append({thread.name for thread in threading.enumerate()})
        os.kill(os.getpid(), signal.SIGINT)

    for years in (0, 10):
        asyncio.run(service(database, keep_years=years).run(started))
    assert ["keeper" in names for names in threads] == [False, True]


def test_a_port_that_is_taken_says_so_in_four_lines(database: Database) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert free_port(port) == 0
        with pytest.raises(UnavailableError, match="cannot listen for the pages") as caught:
            service(database, port=port)
    assert caught.value.where == f"127.0.0.1:{port}"
    assert free_port(port) == port


def test_a_certificate_that_cannot_be_read_is_named(database: Database, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot use the TLS certificate"):
        service(database, tls_certificate=str(tmp_path / "c.pem"), tls_key="k.pem")


def test_ctrl_c_ends_the_command_with_status_0_and_its_pages_with_it(tmp_path: Path) -> None:
    with running_service(tmp_path / "house") as running:
        assert httpx2.get(f"{running.pages}/readyz", timeout=WAIT_S).status_code == 200
        assert running.end() == 0
