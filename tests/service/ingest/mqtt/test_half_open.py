"""Connections that are begun and not carried on, and a system that has none left."""

import asyncio
import logging
import socket
import ssl
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.ingest.mqtt.connection import Connection
from joulebook.ingest.mqtt.limits import ListenerLimits, SessionLimits
from joulebook.ingest.mqtt.roster import Roster
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_packets import PINGREQ, connect, publish
from tests.helpers.mqtt_server import (
    NOW_MS,
    RawClient,
    RunningListener,
    check_token,
    running_listener,
)
from tests.helpers.mqtt_tls import tls_contexts


def test_a_packet_that_is_never_finished_ends_its_connection(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(session=SessionLimits(packet_s=0.05))
    with running_listener(inbox, limits=limits) as server, server.stranger() as client:
        client.send(connect(5, keep_alive_s=0) + publish(level=5)[:-1])
        assert client.packet()[0] == 0x20
        assert client.packet() == b"\xe0\x01\x8d"
        assert client.is_closed()
        assert server.listener.counts().dropped == {"silent": 1}


def test_half_a_connect_is_late(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(login_s=0.05)
    with running_listener(inbox, limits=limits) as server, server.stranger() as client:
        client.send(connect()[:-1])
        assert client.is_closed()
        assert server.listener.counts().dropped == {"late login": 1}


def test_silent_strangers_make_way_for_a_bridge(inbox: RecordingInbox) -> None:
    limits = ListenerLimits(connections=2)
    with (
        running_listener(inbox, limits=limits) as server,
        server.stranger() as silent,
        server.stranger() as silent_too,
    ):
        wait_until(lambda: server.listener.counts().connections == 2)
        with server.client() as bridge:
            assert silent.is_closed()
            bridge.send(PINGREQ)
            assert bridge.packet() == b"\xd0\x00"
        silent_too.send(connect())
        assert silent_too.packet().hex() == "20020000"
        assert server.listener.counts().dropped == {"made way": 1}


# TLS: its handshake has to end, and counts as a connection from the start


@pytest.mark.outside
@pytest.mark.parametrize("said", [b"", b"this is no TLS at all"])
def test_a_handshake_that_does_not_come_to_its_end(
    inbox: RecordingInbox, tmp_path: Path, said: bytes
) -> None:
    server_tls, _ = tls_contexts(tmp_path)
    limits = ListenerLimits(login_s=0.1)
    with (
        running_listener(inbox, tls=server_tls, limits=limits) as server,
        server.stranger() as client,
    ):
        wait_until(lambda: server.listener.counts().connections_total == 1)
        client.send(said)
        client.read(100)  # perhaps an alert of TLS
        assert client.is_closed()
        wait_until(lambda: server.listener.counts().connections == 0)
        assert server.listener.counts().dropped == ({"tls": 1} if said else {"late login": 1})


@pytest.mark.outside
def test_connections_in_their_handshake_are_counted_and_make_way(
    inbox: RecordingInbox, tmp_path: Path
) -> None:
    server_tls, client_tls = tls_contexts(tmp_path)
    limits = ListenerLimits(connections=1)
    with (
        running_listener(inbox, tls=server_tls, limits=limits) as server,
        server.stranger() as silent,
    ):
        wait_until(lambda: server.listener.counts().connections == 1)
        with bridge_over_tls(server, client_tls) as bridge:
            assert bridge.packet().hex() == "20020000"
            assert silent.is_closed()


@pytest.mark.outside
def test_a_stop_in_the_midst_of_a_handshake(inbox: RecordingInbox, tmp_path: Path) -> None:
    server_tls, _ = tls_contexts(tmp_path)
    with running_listener(inbox, tls=server_tls) as server, server.stranger() as client:
        wait_until(lambda: server.listener.counts().connections == 1)
        server.stop()
        assert client.is_closed()
        assert server.listener.counts().connections == 0


def bridge_over_tls(server: RunningListener, client_tls: ssl.SSLContext) -> RawClient:
    plain = socket.create_connection(("127.0.0.1", server.port), timeout=WAIT_S)
    client = RawClient(client_tls.wrap_socket(plain, server_hostname="127.0.0.1"))
    client.send(connect())
    return client


# What the listener does where the system fails it


def test_a_system_without_descriptors_is_told_of_and_tried_again(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.ingest.mqtt.listener._ACCEPT_AGAIN_S", 0.01)
    faults: list[OSError] = [ConnectionAbortedError(), OSError(24, "Too many open files")]
    accept = asyncio.SelectorEventLoop.sock_accept

    async def failing(
        loop: asyncio.SelectorEventLoop, sock: socket.socket
    ) -> tuple[socket.socket, object]:
        if faults:
            raise faults.pop(0)
        return await accept(loop, sock)

    monkeypatch.setattr(asyncio.SelectorEventLoop, "sock_accept", failing)
    with running_listener(inbox) as server, server.client() as client:
        client.send(PINGREQ)
        assert client.packet() == b"\xd0\x00"
    assert "cannot take connections for MQTT: [Errno 24] Too many open files" in caplog.text


def test_who_is_turned_away_does_not_fill_the_log(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    limits = replace(ListenerLimits(), connections=1)
    caplog.set_level(logging.WARNING)
    with running_listener(inbox, limits=limits) as server, server.client():
        for _ in range(40):
            with server.stranger() as stranger:
                assert stranger.is_closed()
        assert server.listener.counts().refused == 40
    assert 20 <= caplog.text.count("is turned away: too many connections") < 40


def test_a_connection_that_ends_before_it_is_opened_is_closed(inbox: RecordingInbox) -> None:
    ours, theirs = socket.socketpair()

    async def open_and_cut() -> Roster:
        roster = Roster(
            inbox, check_token, clock_ms=lambda: NOW_MS, limits=ListenerLimits(login_s=5.0)
        )
        connection = Connection(roster, "192.0.2.1", 1)
        assert roster.enter(connection) == ""
        connection.open(theirs, None)
        connection.make_way()  # in the same breath: nothing of it has begun
        await asyncio.sleep(0.01)
        return roster

    roster = asyncio.run(open_and_cut())
    assert roster.counts.connections == 0
    ours.settimeout(WAIT_S)
    assert ours.recv(1) == b""
    ours.close()
