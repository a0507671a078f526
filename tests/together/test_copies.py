"""Copies of ingest that are killed, and the server under them: in equals out, on a small scale."""

import json
import socket
import sys
from contextlib import nullcontext, suppress
from pathlib import Path

import pytest

from tests import measure_copies
from tests.faults import copies
from tests.faults.copies import MESSAGES, killing
from tests.faults.told import Told, counted
from tests.helpers.balancer import Balancer
from tests.helpers.copies import fsyncing_server
from tests.helpers.lean_publisher import READINGS
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.service import unused_port


@pytest.mark.outside
def test_nothing_is_lost_where_a_copy_or_the_server_is_killed(tmp_path: Path) -> None:
    with (
        fsyncing_server() as server,
        killing(tmp_path, server, ("broker", "balancer"), seed=2) as killed,
    ):
        killed.kill_copy()
        killed.kill_server()
        told = killed.told("both")
    assert told.whole
    assert told.sent == told.acknowledged == 6 * MESSAGES  # two publishers, once more at the end
    assert told.rounds == 2


class Counted:
    """Stands for copies that are killed: it only counts."""

    def __init__(self) -> None:
        self.copies = self.servers = 0

    def kill_copy(self) -> None:
        self.copies += 1

    def kill_server(self) -> None:
        self.servers += 1

    def told(self, fault: str) -> Told:
        return counted(fault, [1], [1], rounds=self.copies + 10 * self.servers)


def test_the_command_kills_copies_behind_each_door_and_the_server_so_often(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(copies, "fsyncing_server", nullcontext)
    monkeypatch.setattr(copies, "killing", lambda *_: nullcontext(Counted()))
    rows = copies.killed_copies(tmp_path, 3, seed=1)
    assert {row.fault: row.rounds for row in rows} == {
        "ingest copy killed behind a broker": 3,
        "ingest copy killed behind a balancer": 3,
        "database server killed -9 and started again": 30,
    }


def test_a_balancer_before_nobody_closes_what_it_takes() -> None:
    balancer = Balancer(unused_port(), unused_port())
    with socket.create_connection(("127.0.0.1", balancer.port), timeout=WAIT_S) as connection:
        assert connection.recv(1) == b""
    assert set(balancer.passed.values()) == {0}
    balancer.close()


def test_a_balancer_lets_go_of_everybody_at_its_end() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        balancer = Balancer(server.getsockname()[1])
        with socket.create_connection(("127.0.0.1", balancer.port), timeout=WAIT_S) as connection:
            wait_until(lambda: set(balancer.passed.values()) == {1})
            balancer.close()
            with suppress(ConnectionError):
                assert connection.recv(1) == b""


@pytest.mark.outside
def test_the_measuring_command_counts_what_was_committed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["measure_copies", "--copies=1", "--homes=60", "--steps=20"])
    measure_copies.main()
    told = json.loads(capsys.readouterr().out)
    assert told["messages"] == 60 * 20
    assert told["readings_per_s"] == pytest.approx(1200 * READINGS / told["took_s"], rel=0.05)
    assert told["copies_cpu_s"] > 0
