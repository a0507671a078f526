"""A server's side of one MQTT connection: bytes in, messages and bytes out. No socket, no clock.

The server only takes messages in. What that means here:

- A session ends with its connection: *session present* is always 0, and a 5.0 client that asks
  for a longer life is told that it gets none. Nothing is lost by it, since a client sends again
  what was not acknowledged, and storing a reading twice stores it once.
- A will is read and checked like everything else, and then forgotten: readings come from
  equipment, not from a broken connection. *Retain* and the other hints for subscribers are
  taken and mean nothing here, since nobody subscribes.
- PUBACK and PUBREC leave only when :meth:`ServerSession.settle` says what became of a message.
"""

from collections.abc import Sequence

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt import answers
from joulebook.ingest.mqtt.handshake import Login, Terms, answer_connect, refusal
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.packets import (
    Ack,
    Connect,
    Disconnect,
    Packet,
    PacketType,
    Pingreq,
    Publish,
    Subscribe,
    UnknownLevel,
    Unsubscribe,
)
from joulebook.ingest.mqtt.properties import Property
from joulebook.ingest.mqtt.reader import PacketReader
from joulebook.ingest.mqtt.reasons import ProtocolError, Reason
from joulebook.ingest.pace import Bucket

# A message that is kept in quarantine is taken, and told so. MQTT 3.1.1 has no way to refuse one.
_REASON_OF = {
    Verdict.STORED: Reason.SUCCESS,
    Verdict.QUARANTINED: Reason.SUCCESS,
    Verdict.NOT_AUTHORISED: Reason.NOT_AUTHORISED,
    Verdict.TOPIC_INVALID: Reason.TOPIC_INVALID,
}


_NOTHING_AGREED = Terms(level=0, login=Login("", None, None), welcome=b"", keep_alive_s=0)


class ServerSession:
    """One connection's state.

    After each call look at :attr:`login` (somebody waits for :meth:`admit` or :meth:`refuse`),
    :meth:`outgoing` (bytes to send) and :attr:`over` (send those, then close).

    Parameters
    ----------
    limits : SessionLimits
        What the client may do.
    new_client_id : str
        The identifier for a client that brings none.
    now_s : float
        Seconds of any clock that never goes back; the same for every ``now_s`` here.
    """

    def __init__(self, limits: SessionLimits, *, new_client_id: str, now_s: float) -> None:
        self._limits = limits
        self._new_client_id = new_client_id
        self._reader = PacketReader(limits.max_packet_size)
        self._out = bytearray()
        self._terms = _NOTHING_AGREED
        self._open = False  # between CONNACK and the end
        self._heard_s = now_s
        self._begun_s: float | None = None  # since when a packet waits for its end
        self._asks = Bucket(limits.asks_per_s, limits.asks_at_once, now_s)
        self._unanswered = 0  # messages of QoS 1 and 2, as Receive Maximum counts them
        self._unsettled: set[int] = set()  # ids of QoS 1 that are with the inbox
        self._unreleased: dict[int, bool] = {}  # ids of QoS 2: whether PUBREC has left
        self.login: Login | None = None
        self.over = False
        self.fault: str | None = None  # what the client did wrong, for the log

    @property
    def deadline_s(self) -> float | None:
        """When the client has been silent for too long.

        That is one and a half times its keep alive (§3.1.2.10), or the time in which a packet
        that was begun has to end.
        """
        if not self._open:
            return None
        deadlines = []
        if self._terms.keep_alive_s:
            deadlines.append(self._heard_s + 1.5 * self._terms.keep_alive_s)
        if self._begun_s is not None:
            deadlines.append(self._begun_s + self._limits.packet_s)
        return min(deadlines, default=None)

    @property
    def unfinished_bytes(self) -> int:
        """How much is held of packets that are not yet whole, or may not be read yet."""
        return 0 if self.over else self._reader.unfinished_bytes

    def receive(self, data: bytes, now_s: float) -> list[Publish]:
        """Take in bytes; return the messages that are now whole and wait to be settled."""
        if self.over:
            return []
        self._reader.feed(data)
        return self._read(now_s)

    def admit(self, now_s: float) -> list[Publish]:
        """Let the client in; return the messages that it sent without waiting for that."""
        self.login = None
        self._open = True
        self._send(self._terms.welcome)
        return self._read(now_s)

    def refuse(self, reason: Reason) -> None:
        """Turn the client away, for bad credentials or want of a place."""
        self._send(refusal(self._terms.level, reason))
        self._end()

    def settle(self, published: Sequence[Publish], verdicts: Sequence[Verdict]) -> None:
        """Answer messages of :meth:`receive` or :meth:`admit`: what became of each is on disk."""
        if self.over:
            return
        for packet, verdict in zip(published, verdicts, strict=True):
            reason = _REASON_OF[verdict] if self._terms.level == 5 else Reason.SUCCESS
            if packet.qos == 1:
                self._unsettled.discard(packet.packet_id)
                self._unanswered -= 1
                self._send(answers.acknowledgement(PacketType.PUBACK, packet.packet_id, reason))
            elif packet.qos == 2:
                self._settle_qos_2(packet.packet_id, reason)

    def disconnect(self, reason: Reason) -> None:
        """End the connection from our side; a 5.0 client is told why."""
        if self._open and self._terms.level == 5:
            self._send(answers.disconnect(reason))
        self._end()

    def touch(self, now_s: float) -> None:
        """Take silence up to now for ours: we did not listen."""
        self._heard_s = now_s
        if self._begun_s is not None:
            self._begun_s = now_s

    def outgoing(self) -> bytes:
        """Return the bytes to send, once."""
        out = bytes(self._out)
        self._out.clear()
        return out

    def _end(self) -> None:
        self.login = None
        self._open = False
        self.over = True

    def _send(self, packet: bytes) -> None:
        # What is longer than a 5.0 client takes is not sent at all (§3.1.2.11.4).
        if len(packet) <= self._terms.packet_limit:
            self._out += packet

    def _read(self, now_s: float) -> list[Publish]:
        published: list[Publish] = []
        try:
            while not self.over and self.login is None:
                packet = self._reader.next_packet()
                if packet is None:
                    break
                self._heard_s = now_s
                self._begun_s = None
                if not isinstance(packet, Publish):
                    self._handle(packet)
                elif self._is_new(packet):
                    published.append(packet)
                else:
                    self._ask()
        except ProtocolError as error:
            self.fault = str(error)
            self.disconnect(error.reason)
        if self.unfinished_bytes and self._begun_s is None:
            self._begun_s = now_s
        return published

    def _ask(self) -> None:
        """Count a packet that brings no message: too many of them end the connection."""
        if self._asks.take(1, self._heard_s):
            what = f"more than {self._limits.asks_per_s:g} packets a second without a message"
            raise ProtocolError(Reason.MESSAGE_RATE_TOO_HIGH, what)

    def _is_new(self, packet: Publish) -> bool:
        """Tell whether a message has to be stored; if not, it is one that we already have."""
        packet_id = packet.packet_id
        if packet.qos == 0:
            return True
        if packet.qos == 1:
            # The same id without DUP would be another message under an id in use: a mistake of
            # the client's. We store it and answer twice, rather than lose it.
            if packet.dup and packet_id in self._unsettled:
                return False
            self._unsettled.add(packet_id)
        elif packet_id in self._unreleased:
            # Until PUBREL it is the same message, with DUP or without (§4.3.3).
            if self._unreleased[packet_id]:
                self._send(answers.acknowledgement(PacketType.PUBREC, packet_id))
            return False
        else:
            self._unreleased[packet_id] = False
        self._unanswered += 1
        if self._terms.level == 5 and self._unanswered > self._limits.receive_maximum:
            what = f"more than {self._limits.receive_maximum} messages without an answer"
            raise ProtocolError(Reason.RECEIVE_MAXIMUM_EXCEEDED, what)
        if len(self._unreleased) > self._limits.unreleased:
            what = f"more than {self._limits.unreleased} messages without a PUBREL"
            raise ProtocolError(Reason.QUOTA_EXCEEDED, what)
        return True

    def _settle_qos_2(self, packet_id: int, reason: Reason) -> None:
        if reason >= Reason.MALFORMED:  # refused: no PUBREL will come, and the id is free
            del self._unreleased[packet_id]
            self._unanswered -= 1
        else:
            self._unreleased[packet_id] = True
        self._send(answers.acknowledgement(PacketType.PUBREC, packet_id, reason))

    def _handle(self, packet: Packet) -> None:
        # A PUBREL belongs to its message; everything else here costs.
        if not (isinstance(packet, Ack) and packet.packet_id in self._unreleased):
            self._ask()
        match packet:
            case Pingreq():
                self._send(answers.PINGRESP)
            case Ack(type=PacketType.PUBREL):
                self._release(packet.packet_id)
            case Subscribe():
                self._send(answers.suback(packet.packet_id, len(packet.filters), self._terms.level))
            case Unsubscribe():
                self._send(
                    answers.unsuback(packet.packet_id, len(packet.filters), self._terms.level)
                )
            case Disconnect():
                self._check_farewell(packet)
                self._end()
            case Connect() | UnknownLevel() if self._terms is _NOTHING_AGREED:
                self._connected(packet)
            case _:
                # A second CONNECT, AUTH without enhanced authentication, and answers to
                # messages that we never sent.
                what = f"a {type(packet).__name__} has no place here"
                raise ProtocolError(Reason.PROTOCOL_ERROR, what)

    def _release(self, packet_id: int) -> None:
        if self._unreleased.get(packet_id) is False:
            raise ProtocolError(Reason.PROTOCOL_ERROR, "a PUBREL before its PUBREC")
        known = self._unreleased.pop(packet_id, None)
        self._unanswered -= bool(known)
        # Unknown is normal after a break: the session that knew it ended with its connection.
        unknown = not known and self._terms.level == 5
        reason = Reason.ID_NOT_FOUND if unknown else Reason.SUCCESS
        self._send(answers.acknowledgement(PacketType.PUBCOMP, packet_id, reason))

    def _connected(self, packet: Connect | UnknownLevel) -> None:
        answer = answer_connect(packet, self._limits, self._new_client_id)
        if isinstance(answer, Terms):
            self._terms = answer
            self.login = answer.login
        else:
            self._out += answer
            self._end()

    def _check_farewell(self, packet: Disconnect) -> None:
        if self._terms.ends_with_connection and packet.properties.get(Property.SESSION_EXPIRY):
            what = "a session that was to end with its connection is to live on (§3.14.2.2.2)"
            raise ProtocolError(Reason.PROTOCOL_ERROR, what)
