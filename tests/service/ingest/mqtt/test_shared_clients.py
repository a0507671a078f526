"""Sessions at a real mosquitto: what a share's clients get, and what an heir finds."""

import pytest
from paho.mqtt.client import ConnectFlags
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from joulebook.errors import UsageError
from joulebook.ingest.mqtt.shared_clients import Heir, SharedClient, shared_filters
from tests.helpers.mqtt_broker import Mosquitto
from tests.helpers.mqtt_inbox import RecordingInbox, numbered, wait_until
from tests.helpers.mqtt_server import NOW_MS

TOPIC = "joulebook/v1/home/battery"
FILTERS = shared_filters("joulebook", ["joulebook/v1/#"])


def reader(
    kind: type[SharedClient], inbox: RecordingInbox, broker: Mosquitto, name: str
) -> SharedClient:
    client = kind(
        inbox,
        url=f"mqtt://127.0.0.1:{broker.port}",
        topic_filters=FILTERS,
        client_id=name,
        clock_ms=lambda: NOW_MS,
        settle_s=0.05,
    )
    client.start()
    wait_until(lambda: client.connected)
    return client


def empty(heir: Heir) -> None:
    def emptied() -> bool:
        heir.look()
        return heir.emptied

    wait_until(emptied)


@pytest.mark.outside
def test_two_share_what_is_published(inbox: RecordingInbox, broker: Mosquitto) -> None:
    other = RecordingInbox()
    clients = [reader(SharedClient, inbox, broker, "a"), reader(SharedClient, other, broker, "b")]
    broker.publish(TOPIC, numbered(100))
    wait_until(lambda: len(inbox.messages) + len(other.messages) == 100)
    # Each went to one of both (MQTT 5 §4.8.2); which one, mosquitto decides in turn.
    assert sorted(inbox.payloads() + other.payloads()) == sorted(numbered(100))
    assert len(inbox.messages) == 50
    for client in clients:
        client.stop()
    other.stop()


@pytest.mark.outside
def test_an_heir_takes_in_what_a_dead_client_had_and_what_waits_for_it(
    inbox: RecordingInbox, broker: Mosquitto
) -> None:
    dead = RecordingInbox()
    dead.hold()
    left = reader(SharedClient, dead, broker, "left")
    broker.publish(TOPIC, numbered(30))
    wait_until(lambda: dead.taken == 30)
    left.abandon()  # without an answer to any of them, as if it had been killed
    broker.publish(TOPIC, numbered(30, first=30))  # put into the session of nobody
    living = reader(SharedClient, inbox, broker, "living")
    heir = reader(Heir, inbox, broker, "left")
    assert isinstance(heir, Heir)
    wait_until(lambda: len(inbox.messages) == 60)
    broker.publish(TOPIC, numbered(10, first=60))  # to the living one alone
    wait_until(lambda: len(inbox.messages) == 70)
    empty(heir)
    heir.end()
    assert sorted(inbox.payloads()) == sorted(numbered(70))
    # The broker has forgotten the session: whoever comes with its name finds it empty at once.
    again = reader(Heir, inbox, broker, "left")
    assert isinstance(again, Heir)
    assert again.emptied
    again.end()
    living.stop()
    dead.stop()


@pytest.mark.outside
def test_a_session_is_not_empty_while_something_of_it_is_not_stored(
    inbox: RecordingInbox, broker: Mosquitto
) -> None:
    reader(SharedClient, inbox, broker, "left").abandon()
    broker.publish(TOPIC, numbered(3))
    inbox.hold()
    heir = reader(Heir, inbox, broker, "left")
    assert isinstance(heir, Heir)
    wait_until(lambda: inbox.taken == 3)
    heir.look()
    assert heir._asked_at is None  # it does not even ask
    inbox.release()
    empty(heir)
    heir.end()


def test_an_answer_that_more_has_come_or_a_refusal_is_no_sign_of_emptiness(
    inbox: RecordingInbox, caplog: pytest.LogCaptureFixture
) -> None:
    heir = Heir(inbox, url="mqtt://x", topic_filters=FILTERS, client_id="x", clock_ms=lambda: 0)
    heir._let_in(heir._client, ConnectFlags(session_present=True))
    done = [ReasonCode(PacketTypes.UNSUBACK, "Success")]

    def answer(reasons: list[ReasonCode]) -> None:
        heir._on_unsubscribe(heir._client, None, 1, reasons, None)

    answer([ReasonCode(PacketTypes.UNSUBACK, "Not authorized")])
    assert "keeps a subscription: Not authorized" in caplog.text
    assert not heir.connected
    answer(done)
    assert heir.connected
    heir.look()
    heir.look()  # it waits for the answer to the first
    heir._came += 1
    answer(done)
    assert not heir.emptied
    for _ in range(2):
        assert not heir.emptied
        heir.look()
        answer(done)
    assert heir.emptied
    heir._let_in(heir._client, ConnectFlags(session_present=True))  # the connection broke
    assert not heir.emptied


@pytest.mark.parametrize("share", ["", "a/b", "a+", "#", "a\0"])
def test_a_share_has_a_name_that_the_standard_allows(share: str) -> None:
    # MQTT 5 §4.8.2: at least one character, and none of / + #.
    with pytest.raises(UsageError, match="not the name of a shared subscription"):
        shared_filters(share, ["#"])


def test_a_share_stands_before_each_filter() -> None:
    # The example of MQTT 5 §4.8.2, non-normative.
    assert shared_filters("consumer1", ["sport/tennis/+"]) == ["$share/consumer1/sport/tennis/+"]
