"""Reason codes of MQTT 5.0 (§2.4) that a server of ours meets, and the codec's one error."""

from enum import IntEnum


class Reason(IntEnum):
    """Reason codes that we send. The values are the standard's."""

    SUCCESS = 0x00
    NO_SUBSCRIPTION = 0x11
    MALFORMED = 0x81
    PROTOCOL_ERROR = 0x82
    UNSUPPORTED_VERSION = 0x84
    CLIENT_ID_NOT_VALID = 0x85
    BAD_CREDENTIALS = 0x86
    NOT_AUTHORISED = 0x87
    UNAVAILABLE = 0x88
    SHUTTING_DOWN = 0x8B
    BAD_AUTHENTICATION_METHOD = 0x8C
    KEEP_ALIVE_TIMEOUT = 0x8D
    TAKEN_OVER = 0x8E
    FILTER_INVALID = 0x8F
    TOPIC_INVALID = 0x90
    ID_NOT_FOUND = 0x92
    RECEIVE_MAXIMUM_EXCEEDED = 0x93
    TOPIC_ALIAS_INVALID = 0x94
    PACKET_TOO_LARGE = 0x95
    MESSAGE_RATE_TOO_HIGH = 0x96
    QUOTA_EXCEEDED = 0x97


class Return(IntEnum):
    """Return codes of an MQTT 3.1.1 CONNACK (§3.2.2.3, Table 3.1)."""

    ACCEPTED = 0
    UNSUPPORTED_VERSION = 1
    ID_REJECTED = 2
    UNAVAILABLE = 3
    BAD_CREDENTIALS = 4


class ProtocolError(Exception):
    """The peer sent what the standard forbids: the connection has to end.

    Attributes
    ----------
    reason : Reason
        What an MQTT 5.0 peer is told; a 3.1.1 peer only sees the connection close.
    """

    def __init__(self, reason: Reason, what: str) -> None:
        super().__init__(what)
        self.reason = reason


def malformed(what: str) -> ProtocolError:
    """Return the error of a packet that cannot be parsed."""
    return ProtocolError(Reason.MALFORMED, what)
