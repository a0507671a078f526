"""Packets that a client sends (MQTT 3.1.1 §3, MQTT 5.0 §3), parsed and checked.

They are named tuples, not dataclasses: a publish is made for every message, and a named tuple is
made in a third of the time of a frozen dataclass.
"""

from enum import IntEnum
from typing import NamedTuple

from joulebook.ingest.mqtt.properties import Properties


class PacketType(IntEnum):
    """Control packet types: the high half of the first byte (Table 2.1)."""

    CONNECT = 1
    CONNACK = 2
    PUBLISH = 3
    PUBACK = 4
    PUBREC = 5
    PUBREL = 6
    PUBCOMP = 7
    SUBSCRIBE = 8
    SUBACK = 9
    UNSUBSCRIBE = 10
    UNSUBACK = 11
    PINGREQ = 12
    PINGRESP = 13
    DISCONNECT = 14
    AUTH = 15


class Will(NamedTuple):
    """The message that a broker would publish if the connection broke. We only check it."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    properties: Properties


class Connect(NamedTuple):
    """The first packet of a connection. ``level`` is 4 for MQTT 3.1.1 and 5 for 5.0."""

    level: int
    client_id: str
    clean: bool
    keep_alive_s: int
    will: Will | None
    user_name: str | None
    password: bytes | None
    properties: Properties


class UnknownLevel(NamedTuple):
    """A CONNECT of another protocol level: nothing behind the level can be read."""

    level: int


class Publish(NamedTuple):
    """A published message; ``packet_id`` is 0 with QoS 0."""

    topic: str
    payload: bytes
    qos: int
    packet_id: int
    dup: bool
    retain: bool
    properties: Properties


class Ack(NamedTuple):
    """PUBACK, PUBREC, PUBREL or PUBCOMP, told apart by ``type``."""

    type: PacketType
    packet_id: int
    reason: int
    properties: Properties


class Subscribe(NamedTuple):
    """A wish to receive: topic filters with their options byte."""

    packet_id: int
    filters: list[tuple[str, int]]
    properties: Properties


class Unsubscribe(NamedTuple):
    """The end of a wish to receive."""

    packet_id: int
    filters: list[str]
    properties: Properties


class Pingreq(NamedTuple):
    """A sign of life."""


class Disconnect(NamedTuple):
    """The client's good-bye."""

    reason: int
    properties: Properties


class Auth(NamedTuple):
    """A step of enhanced authentication (MQTT 5.0 §3.15)."""

    reason: int
    properties: Properties


Packet = (
    Connect | UnknownLevel | Publish | Ack | Subscribe | Unsubscribe | Pingreq | Disconnect | Auth
)
