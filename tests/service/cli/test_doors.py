"""What the doors stand on."""

import resource
from pathlib import Path

import pytest

from joulebook.cli.doors import listener_limits, make_room_for_connections, tls_context
from joulebook.errors import UsageError
from joulebook.settings import Settings
from tests.helpers.mqtt_tls import tls_contexts


@pytest.fixture
def descriptors(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, int]]:
    """Soft and hard limit of open files, as the "system" has them: the last one holds."""
    held = [(1024, 4096)]

    monkeypatch.setattr(resource, "getrlimit", lambda _which: held[-1])
    monkeypatch.setattr(resource, "setrlimit", lambda _which, limits: held.append(limits))
    return held


def test_room_for_connections_is_asked_of_the_system(
    descriptors: list[tuple[int, int]], caplog: pytest.LogCaptureFixture
) -> None:
    make_room_for_connections(Settings(mqtt_connections=1000))
    assert descriptors[-1] == (2024, 4096)
    make_room_for_connections(Settings(mqtt_connections=1000))  # enough: nothing to ask
    assert len(descriptors) == 2
    assert caplog.text == ""
    make_room_for_connections(Settings(mqtt_connections=10_000))
    assert descriptors[-1] == (4096, 4096)
    assert "the system allows 4096 open files" in caplog.text


def test_a_system_without_a_hard_limit(descriptors: list[tuple[int, int]]) -> None:
    descriptors.append((1024, resource.RLIM_INFINITY))
    make_room_for_connections(Settings(mqtt_connections=10_000))
    assert descriptors[-1] == (11_024, resource.RLIM_INFINITY)


@pytest.mark.usefixtures("descriptors")
def test_a_system_that_refuses_is_told_of(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(resource, "setrlimit", refuse)
    make_room_for_connections(Settings())
    assert "the system allows 1024 open files" in caplog.text


def test_without_a_soft_limit_there_is_nothing_to_do(descriptors: list[tuple[int, int]]) -> None:
    descriptors.append((resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    make_room_for_connections(Settings())
    assert len(descriptors) == 2


def test_settings_become_limits() -> None:
    limits = listener_limits(
        Settings(mqtt_connections=7, mqtt_connections_per_address=3, mqtt_messages_per_s=50.0)
    )
    assert (limits.connections, limits.address_connections) == (7, 3)
    assert (limits.messages_per_s, limits.total_messages_per_s) == (50.0, 500.0)


@pytest.mark.outside
def test_an_authority_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    tls_contexts(tmp_path)
    nothing = tmp_path / "nothing.pem"
    settings = Settings(
        tls_certificate=str(tmp_path / "certificate.pem"),
        tls_key=str(tmp_path / "key.pem"),
        tls_client_ca=str(nothing),
    )
    with pytest.raises(UsageError, match="authority of the bridges' certificates") as caught:
        tls_context(settings)
    assert caught.value.where == str(nothing)


def test_a_trusted_proxy_may_balance_bridges_too() -> None:
    settings = Settings(trusted_proxies="192.0.2.7, 10.8.0.0/24")
    assert listener_limits(settings).balancers == ("192.0.2.7", "10.8.0.0/24")
    assert listener_limits(Settings()).balancers == ()
