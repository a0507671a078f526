"""What a CONNECT is answered with: terms for the connection, or a refusal."""

from dataclasses import dataclass

from joulebook.ingest.mqtt import answers
from joulebook.ingest.mqtt.limits import CLIENT_ID_BYTES, SessionLimits
from joulebook.ingest.mqtt.packets import Connect, UnknownLevel
from joulebook.ingest.mqtt.properties import Property
from joulebook.ingest.mqtt.reasons import Reason, Return

_NO_LIMIT = 0xFFFF_FFFF
_RETURN_OF = {
    Reason.BAD_CREDENTIALS: Return.BAD_CREDENTIALS,
    Reason.UNAVAILABLE: Return.UNAVAILABLE,
    Reason.QUOTA_EXCEEDED: Return.UNAVAILABLE,
}


@dataclass(frozen=True, slots=True)
class Login:
    """Who wants in: the bridge's name and its token's secret, ``None`` where it gave none."""

    client_id: str
    name: str | None
    secret: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What holds for a connection once its client is let in."""

    level: int
    login: Login
    welcome: bytes  # the CONNACK
    keep_alive_s: int  # 0: never
    packet_limit: int = _NO_LIMIT  # the longest packet that the client takes [byte]
    ends_with_connection: bool = True  # the session, as the client asked


def answer_connect(
    packet: Connect | UnknownLevel, limits: SessionLimits, new_client_id: str
) -> Terms | bytes:
    """Return the terms for this client, or the packet that refuses it.

    Parameters
    ----------
    packet : Connect or UnknownLevel
        The first packet of the connection.
    limits : SessionLimits
        What the client may do.
    new_client_id : str
        The identifier for a client that brings none.
    """
    if isinstance(packet, UnknownLevel):
        # In the form that a client of that level most likely understands.
        if packet.level > 5:
            return answers.connack_5(Reason.UNSUPPORTED_VERSION, {})
        return answers.connack_311(Return.UNSUPPORTED_VERSION)
    if len(packet.client_id.encode()) > CLIENT_ID_BYTES:
        if packet.level == 5:
            return answers.connack_5(Reason.CLIENT_ID_NOT_VALID, {})
        return answers.connack_311(Return.ID_REJECTED)
    secret = packet.password.decode(errors="replace") if packet.password is not None else None
    login = Login(packet.client_id or new_client_id, packet.user_name, secret)
    if packet.level == 5:
        return _terms_5(packet, login, limits)
    if not packet.client_id and not packet.clean:
        return answers.connack_311(Return.ID_REJECTED)
    welcome = answers.connack_311(Return.ACCEPTED)
    return Terms(level=4, login=login, welcome=welcome, keep_alive_s=packet.keep_alive_s)


def refusal(level: int, reason: Reason) -> bytes:
    """Return the CONNACK that turns a client away, for bad credentials or want of a place."""
    if level == 5:
        return answers.connack_5(reason, {})
    return answers.connack_311(_RETURN_OF[reason])


def _terms_5(packet: Connect, login: Login, limits: SessionLimits) -> Terms | bytes:
    asked = packet.properties
    if Property.AUTHENTICATION_METHOD in asked:
        return answers.connack_5(Reason.BAD_AUTHENTICATION_METHOD, {})
    longest = limits.longest_keep_alive_s
    keep_alive_s = min(packet.keep_alive_s or longest, longest)
    ends_with_connection = not asked.get(Property.SESSION_EXPIRY)
    told: dict[Property, int | str] = {
        Property.RECEIVE_MAXIMUM: limits.receive_maximum,
        Property.MAXIMUM_PACKET_SIZE: limits.max_packet_size,
        Property.WILDCARD_AVAILABLE: 0,
        Property.SUBSCRIPTION_ID_AVAILABLE: 0,
        Property.SHARED_AVAILABLE: 0,
    }
    if not ends_with_connection:
        told[Property.SESSION_EXPIRY] = 0
    if not packet.client_id:
        told[Property.ASSIGNED_CLIENT_ID] = login.client_id
    if keep_alive_s != packet.keep_alive_s:
        told[Property.SERVER_KEEP_ALIVE] = keep_alive_s
    limit = asked.get(Property.MAXIMUM_PACKET_SIZE)
    return Terms(
        level=5,
        login=login,
        welcome=answers.connack_5(Reason.SUCCESS, told),
        keep_alive_s=keep_alive_s,
        packet_limit=limit if isinstance(limit, int) else _NO_LIMIT,
        ends_with_connection=ends_with_connection,
    )
