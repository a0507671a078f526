import asyncio
import socket

import pytest

from joulebook.ingest.mqtt.sockets import listening_sockets, set_options


def families(host: str) -> set[socket.AddressFamily]:
    sockets = asyncio.run(listening_sockets(host, 0))
    found = {each.family for each in sockets}
    for each in sockets:
        each.close()
    return found


def test_a_socket_for_each_address_of_a_host() -> None:
    assert families("127.0.0.1") == {socket.AF_INET}
    assert families("::1") == {socket.AF_INET6}
    assert families("") == {socket.AF_INET, socket.AF_INET6}


def test_an_address_that_is_not_ours_leaves_nothing_open() -> None:
    with pytest.raises(OSError, match="Cannot assign"):
        asyncio.run(listening_sockets("192.0.2.1", 0))  # RFC 5737: nobody's


def test_a_system_without_an_option_has_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(socket, "TCP_KEEPIDLE")
    with socket.socket() as sock:
        set_options(sock)
        assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPCNT) == 4
