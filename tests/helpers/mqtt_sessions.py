"""Server sessions without a socket, at any stage."""

from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.session import ServerSession
from tests.helpers.mqtt_packets import connect


def new_session(limits: SessionLimits | None = None) -> ServerSession:
    return ServerSession(limits or SessionLimits(), new_client_id="joulebook-1", now_s=100.0)


def open_session(
    level: int, *, limits: SessionLimits | None = None, raw: bytes = b""
) -> ServerSession:
    """Return a session whose client is let in and has read its CONNACK."""
    session = new_session(limits)
    assert session.receive(connect(level, raw=raw), 100.0) == []
    session.admit(100.0)
    session.outgoing()
    return session


def refusal_of(session: ServerSession, raw: bytes) -> str:
    """Return what is sent as the session ends for a fault of its client's."""
    assert not session.over
    session.receive(raw, 101.0)
    assert session.over
    assert session.fault is not None
    return session.outgoing().hex()
