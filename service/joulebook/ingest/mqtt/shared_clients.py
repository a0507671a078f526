"""Clients that share a subscription (MQTT 5 §4.8.2): one reads its share, one empties a session.

What we measured of mosquitto 2.0 stands in docs/decisions/0019-ingest-in-copies.md: the share of a
client that is gone stays in its session, new messages of it too, and goes to nobody else; it ends
with the session. So no session ends by itself, and one that was left behind is emptied by an heir.
"""

import logging
from collections.abc import Sequence
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from joulebook.errors import UsageError
from joulebook.ingest.mqtt.broker import KEEPALIVE_S, BrokerClient
from joulebook.ingest.mqtt.broker_thread import ThreadedClient

log = logging.getLogger(__name__)

#: The session outlives its connection for ever (MQTT 5 §3.1.2.11.2). [s]
NEVER_S = 0xFFFF_FFFF
#: So many messages may be on their way to us without an answer (§3.1.2.11.3): a commit takes many
#: together, and the inbox has room for those of several sessions.
RECEIVE_MAXIMUM = 1000
# So many questions in a row find a session empty before it is ended.
_EMPTY_ANSWERS = 2


def shared_filters(share: str, topic_filters: Sequence[str]) -> list[str]:
    """Return the filters by which a group of clients shares what the filters match.

    Raises
    ------
    UsageError
        If the group's name is none.
    """
    if not share or set(share) & set("/+#\0"):
        raise UsageError(
            f"not the name of a shared subscription: {share!r}",
            where="setting broker_share",
            expected="a word without / + and #, the same for every copy",
            next_step="correct it, such as: joulebook",
        )
    return [f"$share/{share}/{topic_filter}" for topic_filter in topic_filters]


class SharedClient(BrokerClient):
    """Reads its share of what all clients of a group are sent.

    The same as `BrokerClient` but for the session, which is one of MQTT 5.
    """

    def _made(self) -> ThreadedClient:
        return ThreadedClient(
            CallbackAPIVersion.VERSION2,
            client_id=self.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            manual_ack=True,
        )

    def _connect(self, client: ThreadedClient) -> None:
        wanted = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        wanted.SessionExpiryInterval = NEVER_S
        wanted.ReceiveMaximum = RECEIVE_MAXIMUM
        client.connect_async(
            self._address.host,
            self._address.port,
            keepalive=KEEPALIVE_S,
            clean_start=False,
            properties=wanted,
        )


class Heir(SharedClient):
    """Empties the session that another client left behind.

    It comes with the name of the other, unsubscribes at once, so that nothing new is put there,
    and takes in what the broker still has. Whether that was all it asks by unsubscribing again:
    the broker answers after what it had to send. Messages published meanwhile go to the others of
    the group; so an heir is for somebody whose own subscription stands.
    """

    _came = 0  # messages; guarded by `_changed`, as are the next two
    _asked_at: int | None = None  # after so many messages, while an answer is awaited
    _empty_answers = 0

    @property
    def emptied(self) -> bool:
        """Whether nothing is left in the session."""
        return self._empty_answers >= _EMPTY_ANSWERS

    def look(self) -> None:
        """Ask whether anything is left, where that can be known. To be called now and then."""
        with self._changed:
            if not self._subscribed or self._unsettled or self._asked_at is not None:
                return
            self._asked_at = self._came
        self._client.unsubscribe(list(self.subscriptions))

    def end(self) -> None:
        """Leave, and let the broker forget the session."""
        self._stopping.set()
        ending = Properties(PacketTypes.DISCONNECT)  # type: ignore[no-untyped-call]
        ending.SessionExpiryInterval = 0
        self._client.disconnect(properties=ending)
        self._client.loop_stop()

    def _made(self) -> ThreadedClient:
        client = super()._made()
        client.on_unsubscribe = self._on_unsubscribe
        return client

    def _let_in(self, client: Client, flags: ConnectFlags) -> None:
        with self._changed:
            self._asked_at = None
            self._empty_answers = 0 if flags.session_present else _EMPTY_ANSWERS
        client.unsubscribe(list(self.subscriptions))

    def _on_unsubscribe(
        self,
        _client: Client,
        _userdata: Any,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        failed = [reason for reason in reasons if reason.is_failure]
        with self._changed:
            if failed:
                log.error("the broker %s keeps a subscription: %s", self._address, failed[0])
            elif self._asked_at is not None:
                empty = self._asked_at == self._came and not self._unsettled
                self._empty_answers = self._empty_answers + 1 if empty else 0
            self._asked_at = None
            self._subscribed = not failed

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        with self._changed:
            self._came += 1
        super()._on_message(client, userdata, message)
