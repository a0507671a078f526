"""The words of sd_notify(3), heard on a real socket of both kinds that it names."""

import secrets
import socket
import sys
from pathlib import Path

import pytest

from joulebook.cli.systemd import ServiceManager


def heard_at(address: str, name: str) -> list[bytes]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(60)
        said = ServiceManager({"NOTIFY_SOCKET": name})
        said.ready("taking readings in")
        said.alive()
        said.stopping("storing what has come in")
        return [manager.recv(1024) for _ in range(3)]


WORDS = [
    b"READY=1\nSTATUS=taking readings in",
    b"WATCHDOG=1",
    b"STOPPING=1\nSTATUS=storing what has come in",
]


def test_words_reach_a_socket_with_a_path(tmp_path: Path) -> None:
    assert heard_at(str(tmp_path / "notify"), str(tmp_path / "notify")) == WORDS


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has abstract sockets")
def test_words_reach_an_abstract_socket() -> None:
    name = f"joulebook-test-{secrets.token_hex(8)}"
    assert heard_at(f"\0{name}", f"@{name}") == WORDS


def test_nobody_listens_and_nothing_happens(tmp_path: Path) -> None:
    ServiceManager({}).ready("")
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}).alive()
