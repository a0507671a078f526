"""A bridge that trusts a certificate of the house, as docs/bridge.md says."""

import ssl
from pathlib import Path

import pytest

from joulebook_bridge.deliver import deliver
from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.session import Credentials, Server
from tests.helpers.mqtt_inbox import RecordingInbox
from tests.helpers.mqtt_server import running_listener
from tests.helpers.mqtt_tls import client_authority, client_certificate, tls_contexts

TOPIC = "joulebook/v1/home/battery"
PACK = b'[{"n":"voltage","u":"V","v":53.1}]'


# paho leaves the socket of a failed handshake to the collector, which says so.
@pytest.mark.outside
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_certificate_of_the_house_is_trusted_when_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for_server, _ = tls_contexts(tmp_path)
    inbox = RecordingInbox()
    try:
        with running_listener(inbox, tls=for_server) as listener:
            server = Server("127.0.0.1", listener.port, tls=True)
            sender = Credentials("bridge1", "secret")
            with pytest.raises(AwayError, match="no secure connection"):
                deliver(server, sender, TOPIC, PACK, timeout_s=60)
            monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "certificate.pem"))
            deliver(server, sender, TOPIC, PACK, timeout_s=60)
    finally:
        inbox.stop()
    assert inbox.payloads() == [PACK]


@pytest.mark.outside
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_service_may_ask_for_the_certificate_of_the_bridge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for_server, _ = tls_contexts(tmp_path)
    authority = client_authority(tmp_path, "house")
    for_server.verify_mode = ssl.CERT_REQUIRED
    for_server.load_verify_locations(authority)
    certificate, key = map(str, client_certificate(authority, "bridge"))
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "certificate.pem"))
    inbox = RecordingInbox()
    try:
        with running_listener(inbox, tls=for_server) as listener:
            server = Server("127.0.0.1", listener.port, tls=True)
            with pytest.raises(AwayError):
                deliver(server, Credentials("bridge1", "secret"), TOPIC, PACK, timeout_s=60)
            sender = Credentials("bridge1", "secret", certificate, key)
            deliver(server, sender, TOPIC, PACK, timeout_s=60)
            nobody = Credentials("bridge1", "secret", certificate, str(tmp_path / "none.pem"))
            with pytest.raises(WrongError, match="cannot use the bridge's certificate"):
                deliver(server, nobody, TOPIC, PACK, timeout_s=60)
    finally:
        inbox.stop()
    assert inbox.payloads() == [PACK]
