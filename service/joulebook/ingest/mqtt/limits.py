"""What one listener takes at most: of a packet, of a connection, of an address and in total."""

from dataclasses import dataclass, field

#: A first packet may be this long at most: strangers get no larger buffer. [byte]
CONNECT_LIMIT = 16 * 1024

#: A topic may be this long and have so many levels. Ours take 5 levels; other bridges' take more.
TOPIC_BYTES, TOPIC_LEVELS = 1024, 32

#: A packet of MQTT 5.0 may bring so many user properties, and a SUBSCRIBE so many filters.
USER_PROPERTIES, FILTERS = 32, 64

#: A client identifier may be this long. (Servers must take 23, MQTT 3.1.1 §3.1.3.1.) [byte]
CLIENT_ID_BYTES = 256

#: What a message takes in memory besides its payload, while it is with the inbox. [byte]
MESSAGE_BYTES = 400

#: A message that has to be set aside costs as much as so many that can be stored.
SET_ASIDE_COSTS = 20

#: A login that fails costs its address as much as so many connections.
FAILED_LOGIN_COSTS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionLimits:
    """What a client may do; a 5.0 client is told the first three in the CONNACK."""

    max_packet_size: int = 1024 * 1024  # [byte]
    receive_maximum: int = 1000  # messages of QoS 1 and 2 without an answer, for 5.0
    longest_keep_alive_s: int = 3600  # for 5.0; a 3.1.1 client gets what it asks for
    unreleased: int = 10_000  # messages of QoS 2 whose PUBREL has not come, for 3.1.1
    packet_s: float = 60.0  # from the first byte of a packet to its last
    asks_per_s: float = 20.0  # packets that bring no message: pings, subscriptions and the like
    asks_at_once: float = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenerLimits:
    """What one listener takes at most; the defaults suit one house up to a few hundred.

    A rate is kept by not reading: the client's own buffers fill and it slows down. This machine's
    own loopback, where a proxy may stand for many, and balancers are held to the totals.
    """

    session: SessionLimits = field(default_factory=SessionLimits)
    connections: int = 1000
    address_connections: int = 100  # of one address
    token_connections: int = 100  # of one token
    balancers: tuple[str, ...] = ()  # addresses and networks from which anybody may come
    address_connects_per_s: float = 5.0  # new connections of one address
    address_connects_at_once: float = 100.0
    login_s: float = 10.0  # from the connection to its CONNACK
    revoked_s: float = 2.0  # after which it is asked again whose tokens were revoked
    waiting_messages: int = 5000  # of one connection with the inbox, before it is not read
    waiting_bytes: int = 4 * 1024 * 1024
    total_waiting_bytes: int = 64 * 1024 * 1024  # of all connections
    total_unfinished_bytes: int = 64 * 1024 * 1024  # of packets that are not yet whole, of all
    unread_bytes: int = 256 * 1024  # of answers that a client does not read, before it is dropped
    messages_per_s: float = 20_000.0  # of one connection
    bytes_per_s: float = 16.0 * 1024 * 1024
    total_messages_per_s: float = 200_000.0  # of all connections
    total_bytes_per_s: float = 128.0 * 1024 * 1024
    at_once_s: float = 2.0  # so many seconds' worth may come at once
    stop_s: float = 10.0  # for messages that are with the inbox when the listener stops
